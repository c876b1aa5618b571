//! Drawing: a model goes in, cells come out.
