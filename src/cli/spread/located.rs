//! Where a value stands in a JSON text.

/// Line and column, from 1, of the value at a path such as `anodes[0].size_mm`,
/// or of the nearest value above it that is there. The text has to be JSON.
pub(super) fn located(text: &str, path: &str) -> Option<(usize, usize)> {
    let steps: Vec<&str> = path
        .split(['.', '['])
        .map(|step| step.trim_end_matches(']'))
        .collect();
    let mut scan = Scan {
        bytes: text.as_bytes(),
        at: 0,
    };
    scan.blank();
    let mut found = scan.at;
    for step in steps {
        if !scan.enter(step) {
            break;
        }
        found = scan.at;
    }
    let before = text.get(..found)?;
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    Some((line, column))
}

struct Scan<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Scan<'_> {
    fn peek(&self) -> u8 {
        self.bytes.get(self.at).copied().unwrap_or(b'}')
    }

    fn blank(&mut self) {
        while self.bytes.get(self.at).is_some_and(u8::is_ascii_whitespace) {
            self.at += 1;
        }
    }

    /// Moves to the value of a key or number in the value here; whether it is
    /// there.
    fn enter(&mut self, step: &str) -> bool {
        let is_list = self.peek() == b'[';
        if !is_list && self.peek() != b'{' {
            return false;
        }
        self.at += 1;
        let mut count = 0;
        loop {
            self.blank();
            if matches!(self.peek(), b']' | b'}') {
                return false;
            }
            let is_it = if is_list {
                step.parse() == Ok(count)
            } else {
                let begins = self.at + 1;
                self.skip();
                let key = self.bytes.get(begins..self.at.saturating_sub(1));
                self.blank();
                self.at += 1;
                self.blank();
                key == Some(step.as_bytes())
            };
            if is_it {
                return true;
            }
            self.skip();
            self.blank();
            if self.peek() == b',' {
                self.at += 1;
            }
            count += 1;
        }
    }

    /// Moves behind the value here.
    fn skip(&mut self) {
        let mut depth = 0;
        while self.at < self.bytes.len() {
            match self.peek() {
                b'"' => {
                    self.at += 1;
                    while self.at < self.bytes.len() && self.peek() != b'"' {
                        self.at += if self.peek() == b'\\' { 2 } else { 1 };
                    }
                    self.at += 1;
                    if depth == 0 {
                        return;
                    }
                    continue;
                }
                b'{' | b'[' => depth += 1,
                b'}' | b']' | b',' | b':' if depth == 0 => return,
                b'}' | b']' => {
                    depth -= 1;
                    if depth == 0 {
                        self.at += 1;
                        return;
                    }
                }
                _ => {}
            }
            self.at += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::located;

    #[test]
    fn a_value_is_found_by_its_path() {
        let text = "{ \"a\": 1,\n  \"b\": [ {\"c\": \"x]\\\"\"}, { \"d\" : [1, 2] } ] }";
        assert_eq!(located(text, "a"), Some((1, 8)));
        assert_eq!(located(text, "b[0].c"), Some((2, 16)));
        assert_eq!(located(text, "b[1].d"), Some((2, 33)));
        // What is not there is told by what it would be in.
        assert_eq!(located(text, "b[1].none"), Some((2, 25)));
        assert_eq!(located(text, "b[7].d"), Some((2, 8)));
        assert_eq!(located(text, "none"), Some((1, 1)));
    }
}
