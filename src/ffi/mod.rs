//! What touches C, safe on the outside.
