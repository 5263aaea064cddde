//! Stills to planes, whole or with their damage named: every fault is made here, file by file.

mod decoding;
