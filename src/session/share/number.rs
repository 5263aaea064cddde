//! Which share of a render.

/// One of several shares of a render, counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Share {
    pub(super) number: u32,
    pub(super) of: u32,
}

impl Share {
    /// Most shares of a render.
    pub const MOST: u32 = 10_000;

    /// Reads `3/16`.
    ///
    /// # Errors
    /// What is wrong with it, in one line.
    pub fn read(text: &str) -> Result<Self, String> {
        let form = "a share is given as 3/16: the third of sixteen";
        let (number, of) = text.split_once('/').ok_or(form)?;
        let (Ok(number), Ok(of)) = (number.parse::<u32>(), of.parse::<u32>()) else { return Err(form.into()) };
        if of == 0 || of > Self::MOST {
            return Err(format!("{form}; there are 1 to {} shares", Self::MOST));
        }
        if number == 0 || number > of {
            return Err(format!("{form}; of {of} shares they are 1/{of} to {of}/{of}"));
        }
        Ok(Self { number, of })
    }

    pub(super) fn index(self) -> usize {
        self.number as usize - 1
    }

    /// Its part of `count` things that cost alike.
    pub(in super::super) fn part(self, count: usize) -> std::ops::Range<usize> {
        let (index, of) = (self.index(), self.of as usize);
        index * count / of..(index + 1) * count / of
    }
}

impl std::fmt::Display for Share {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}
