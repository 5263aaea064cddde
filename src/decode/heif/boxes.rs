//! The boxes that HEIF is made of (ISO/IEC 14496-12, 4.2), and numbers in them.

/// A box's name and what it holds.
pub(super) type Named<'a> = ([u8; 4], &'a [u8]);

/// The boxes in some bytes, one after another; ends where what follows is none.
#[derive(Debug, Clone, Copy)]
pub(super) struct Boxes<'a>(pub(super) &'a [u8]);

impl<'a> Iterator for Boxes<'a> {
    type Item = Named<'a>;

    fn next(&mut self) -> Option<Named<'a>> {
        let mut numbers = Numbers(self.0);
        let (short, name) = (numbers.number(4)?, numbers.name()?);
        let length = match short {
            0 => self.0.len(),
            1 => usize::try_from(numbers.number(8)?).ok()?,
            short => usize::try_from(short).ok()?,
        };
        let head = self.0.len() - numbers.0.len();
        let body = self.0.get(head..length)?;
        self.0 = &self.0[length..];
        Some((name, body))
    }
}

impl<'a> Boxes<'a> {
    /// What the first box of this name holds.
    pub(super) fn first(mut self, name: &[u8; 4]) -> Option<&'a [u8]> {
        self.find(|(named, _)| named == name).map(|(_, body)| body)
    }
}

/// Bytes that numbers are taken from the front of, the high byte first.
#[derive(Debug, Clone, Copy)]
pub(super) struct Numbers<'a>(pub(super) &'a [u8]);

impl<'a> Numbers<'a> {
    /// The next so many bytes.
    pub(super) fn bytes(&mut self, count: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(taken)
    }

    /// A number of so many bytes, 8 at most; of no bytes it is 0.
    pub(super) fn number(&mut self, bytes: usize) -> Option<u64> {
        Some(self.bytes(bytes)?.iter().fold(0, |number, byte| number << 8 | u64::from(*byte)))
    }

    /// A number of 4 bytes or fewer.
    pub(super) fn small(&mut self, bytes: usize) -> Option<u32> {
        u32::try_from(self.number(bytes)?).ok()
    }

    /// Four letters.
    pub(super) fn name(&mut self) -> Option<[u8; 4]> {
        self.bytes(4)?.try_into().ok()
    }

    /// The version of a full box, whose flags go with it.
    pub(super) fn version(&mut self) -> Option<(u32, u32)> {
        let both = self.small(4)?;
        Some((both >> 24, both & 0xFF_FFFF))
    }
}
