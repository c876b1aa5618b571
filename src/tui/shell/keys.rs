//! The one place where the terminal's events become ours.

use crossterm::event::{Event, KeyCode as Code, KeyEvent, KeyEventKind, KeyModifiers};

use super::inbox::Incoming;
use crate::tui::app::{Key, KeyCode, Message};

/// What an event means; `None` for key releases and whatever else says nothing.
pub(super) fn translate(event: Event) -> Option<Incoming> {
    match event {
        Event::Key(key) if key.kind != KeyEventKind::Release => {
            let key = key_of(key)?;
            // Leaving must work whatever the model is doing.
            if key.ctrl && key.code == KeyCode::Char('c') {
                return Some(Incoming::Leave);
            }
            Some(Incoming::Typed(Message::Key(key)))
        }
        Event::Paste(text) => Some(Incoming::Typed(Message::Paste(text))),
        // A new size comes by signal, which is heard from before the first frame on.
        _ => None,
    }
}

/// The numeric keypad sends the characters on its keys. Ctrl-H and Ctrl-J are
/// what some terminals send for Backspace and the keypad's Enter. Keys held
/// with Alt belong to the window manager or to nobody.
fn key_of(event: KeyEvent) -> Option<Key> {
    let beyond = KeyModifiers::ALT | KeyModifiers::SUPER | KeyModifiers::HYPER | KeyModifiers::META;
    if event.modifiers.intersects(beyond) {
        return None;
    }
    let ctrl = event.modifiers.contains(KeyModifiers::CONTROL);
    let plain = |code| Some(Key { code, ctrl: false });
    let code = match event.code {
        Code::Char('h') if ctrl => return plain(KeyCode::Backspace),
        Code::Char('j') if ctrl => return plain(KeyCode::Enter),
        Code::Char(c) if ctrl => KeyCode::Char(c.to_ascii_lowercase()),
        Code::Char(c) => KeyCode::Char(c),
        Code::Enter => KeyCode::Enter,
        Code::Esc => KeyCode::Esc,
        Code::Tab => KeyCode::Tab,
        Code::BackTab => KeyCode::BackTab,
        Code::Backspace => KeyCode::Backspace,
        Code::Delete => KeyCode::Delete,
        Code::Up => KeyCode::Up,
        Code::Down => KeyCode::Down,
        Code::Left => KeyCode::Left,
        Code::Right => KeyCode::Right,
        Code::Home => KeyCode::Home,
        Code::End => KeyCode::End,
        Code::PageUp => KeyCode::PageUp,
        Code::PageDown => KeyCode::PageDown,
        Code::F(n) => KeyCode::F(n),
        _ => return None,
    };
    Some(Key { code, ctrl })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crossterm::event::KeyEventState;

    fn typed(code: Code, modifiers: KeyModifiers) -> Option<Key> {
        match translate(Event::Key(KeyEvent::new(code, modifiers)))? {
            Incoming::Typed(Message::Key(key)) => Some(key),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_key_counts_once_and_its_release_never() {
        let event = |kind| {
            Event::Key(KeyEvent::new_with_kind(
                Code::Char('3'),
                KeyModifiers::NONE,
                kind,
            ))
        };
        assert!(translate(event(KeyEventKind::Press)).is_some());
        assert!(translate(event(KeyEventKind::Repeat)).is_some());
        assert!(translate(event(KeyEventKind::Release)).is_none());
    }

    #[test]
    fn the_keypad_types_its_characters() {
        for c in "0123456789.,".chars() {
            let event = KeyEvent::new_with_kind_and_state(
                Code::Char(c),
                KeyModifiers::NONE,
                KeyEventKind::Press,
                KeyEventState::KEYPAD,
            );
            let key = Key {
                code: KeyCode::Char(c),
                ctrl: false,
            };
            assert!(matches!(
                translate(Event::Key(event)),
                Some(Incoming::Typed(Message::Key(k))) if k == key
            ));
        }
    }

    #[test]
    fn control_characters_of_old_terminals_are_the_keys_they_stand_for() {
        let plain = |code| Some(Key { code, ctrl: false });
        assert_eq!(
            typed(Code::Char('h'), KeyModifiers::CONTROL),
            plain(KeyCode::Backspace)
        );
        assert_eq!(
            typed(Code::Char('j'), KeyModifiers::CONTROL),
            plain(KeyCode::Enter)
        );
        let suspend = Some(Key {
            code: KeyCode::Char('z'),
            ctrl: true,
        });
        assert_eq!(typed(Code::Char('z'), KeyModifiers::CONTROL), suspend);
    }

    #[test]
    fn alt_is_no_key_and_control_c_leaves() {
        assert_eq!(typed(Code::Char('q'), KeyModifiers::ALT), None);
        let control_c = Event::Key(KeyEvent::new(Code::Char('c'), KeyModifiers::CONTROL));
        assert!(matches!(translate(control_c), Some(Incoming::Leave)));
    }
}
