//! The items of a HEIF file: where their bytes lie, what they are, what belongs to them (ISO/IEC 14496-12, 8.11, and
//! 23008-12).

use std::collections::BTreeMap;

use super::boxes::{Boxes, Named, Numbers};

/// Where bytes lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// In the file, so many bytes from its beginning.
    File,
    /// In the box `idat`.
    Beside,
}

/// A stretch of an item's bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Extent {
    pub(super) place: Place,
    pub(super) from: u64,
    pub(super) length: u64,
}

/// All items that a `meta` box lists.
#[derive(Debug, Default)]
pub(super) struct Items<'a> {
    /// The picture that is meant to be shown.
    pub(super) primary: Option<u32>,
    /// What each is.
    pub(super) kinds: BTreeMap<u32, [u8; 4]>,
    places: BTreeMap<u32, Vec<Extent>>,
    properties: Vec<Named<'a>>,
    /// Numbers, from 1, of each item's properties, in the order in which they apply.
    owned: BTreeMap<u32, Vec<usize>>,
    /// Kind of reference, from which item, to which.
    references: Vec<([u8; 4], u32, Vec<u32>)>,
    /// The bytes of `idat`.
    pub(super) beside: &'a [u8],
}

impl<'a> Items<'a> {
    /// Reads what a `meta` box holds; nothing where it breaks off or contradicts itself.
    pub(super) fn read(meta: &'a [u8]) -> Option<Self> {
        let boxes = Boxes(meta.get(4..)?);
        let mut items = Self { beside: boxes.first(b"idat").unwrap_or_default(), ..Self::default() };
        items.primary = boxes.first(b"pitm").and_then(|body| {
            let mut numbers = Numbers(body);
            let (version, _) = numbers.version()?;
            numbers.small(if version == 0 { 2 } else { 4 })
        });
        items.kinds(boxes.first(b"iinf")?)?;
        items.places(boxes.first(b"iloc")?)?;
        let properties = Boxes(boxes.first(b"iprp")?);
        items.properties = Boxes(properties.first(b"ipco")?).collect();
        for (_, body) in properties.filter(|(name, _)| name == b"ipma") {
            items.owned(body)?;
        }
        if let Some(body) = boxes.first(b"iref") {
            items.references(body)?;
        }
        Some(items)
    }

    /// Where an item's bytes lie.
    pub(super) fn extents(&self, item: u32) -> &[Extent] {
        self.places.get(&item).map_or(&[], Vec::as_slice)
    }

    /// An item's properties in the order in which they apply.
    pub(super) fn of(&self, item: u32) -> impl Iterator<Item = Named<'a>> + '_ {
        let owned = self.owned.get(&item).map_or(&[][..], Vec::as_slice);
        owned.iter().filter_map(|number| self.properties.get(number.checked_sub(1)?).copied())
    }

    /// An item's first property of this name.
    pub(super) fn property(&self, item: u32, name: &[u8; 4]) -> Option<&'a [u8]> {
        self.of(item).find(|(named, _)| named == name).map(|(_, body)| body)
    }

    /// What an item is made of, in order.
    pub(super) fn parts(&self, item: u32) -> &[u32] {
        let made = self.references.iter().find(|(kind, from, _)| kind == b"dimg" && *from == item);
        made.map_or(&[], |(_, _, to)| to.as_slice())
    }

    /// Items that refer to this one in this way.
    pub(super) fn about(&self, item: u32, kind: &[u8; 4]) -> impl Iterator<Item = u32> + '_ {
        let kind = *kind;
        self.references.iter().filter(move |(of, _, to)| *of == kind && to.contains(&item)).map(|(_, from, _)| *from)
    }

    fn kinds(&mut self, body: &'a [u8]) -> Option<()> {
        let mut numbers = Numbers(body);
        let (version, _) = numbers.version()?;
        numbers.small(if version == 0 { 2 } else { 4 })?;
        for (_, body) in Boxes(numbers.0).filter(|(name, _)| name == b"infe") {
            let mut numbers = Numbers(body);
            let (version, _) = numbers.version()?;
            // Versions 0 and 1 name no kind: no picture of today is written so.
            if version < 2 {
                continue;
            }
            let item = numbers.small(if version == 2 { 2 } else { 4 })?;
            numbers.small(2)?;
            self.kinds.insert(item, numbers.name()?);
        }
        Some(())
    }

    fn places(&mut self, body: &'a [u8]) -> Option<()> {
        let mut numbers = Numbers(body);
        let (version, _) = numbers.version()?;
        let sizes = numbers.small(2)?;
        let nibble = |at: u32| (sizes >> at & 0xF) as usize;
        let (offset, length, base) = (nibble(12), nibble(8), nibble(4));
        let index = if version == 0 { 0 } else { nibble(0) };
        if [offset, length, base, index].iter().any(|size| !matches!(size, 0 | 4 | 8)) {
            return None;
        }
        let wide = if version < 2 { 2 } else { 4 };
        for _ in 0..numbers.small(wide)? {
            let item = numbers.small(wide)?;
            let method = if version == 0 { 0 } else { numbers.small(2)? & 0xF };
            // Bytes of another file, or of another item, are not looked for: such an item has none.
            let elsewhere = numbers.small(2)? != 0;
            let place = match method {
                0 if !elsewhere => Some(Place::File),
                1 if !elsewhere => Some(Place::Beside),
                _ => None,
            };
            let base = numbers.number(base)?;
            let mut extents = Vec::new();
            let count = numbers.small(2)?;
            // Stretches that take no room in the list would be 65,535 for the price of one; without place and length
            // there is but one.
            if count > 1 && index + offset + length == 0 {
                return None;
            }
            for _ in 0..count {
                numbers.number(index)?;
                let (from, length) = (numbers.number(offset)?.checked_add(base)?, numbers.number(length)?);
                extents.extend(place.map(|place| Extent { place, from, length }));
            }
            self.places.insert(item, extents);
        }
        Some(())
    }

    fn owned(&mut self, body: &'a [u8]) -> Option<()> {
        let mut numbers = Numbers(body);
        let (version, flags) = numbers.version()?;
        for _ in 0..numbers.small(4)? {
            let item = numbers.small(if version == 0 { 2 } else { 4 })?;
            let owned = self.owned.entry(item).or_default();
            for _ in 0..numbers.small(1)? {
                let number = if flags & 1 == 0 { numbers.small(1)? & 0x7F } else { numbers.small(2)? & 0x7FFF };
                owned.push(number as usize);
            }
        }
        Some(())
    }

    fn references(&mut self, body: &'a [u8]) -> Option<()> {
        let mut numbers = Numbers(body);
        let (version, _) = numbers.version()?;
        let wide = if version == 0 { 2 } else { 4 };
        for (kind, body) in Boxes(numbers.0) {
            let mut numbers = Numbers(body);
            let from = numbers.small(wide)?;
            let to: Option<Vec<u32>> = (0..numbers.small(2)?).map(|_| numbers.small(wide)).collect();
            self.references.push((kind, from, to?));
        }
        Some(())
    }
}
