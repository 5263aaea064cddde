//! Trackers against scenes whose truth is known.
