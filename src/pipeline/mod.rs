//! Decode, resample, convert: rows of plans to frames, in order, bounded.
