//! How a few stills in a row lie against each other: what is kept of registering them.

use std::io;

use serde::{Deserialize, Serialize};

use crate::register::{Link, Sight};
use crate::store::{Kind, Store};

/// How stretches are kept below the user's folder. Another way of measuring takes another number.
/// About 2.6 kB a still: 1 GB is 400,000 stills.
pub const LINKED_STILLS: Kind = Kind { folder: "stands", head: b"stillpath tiles3", most: 1_000_000_000 };

/// What a stretch of stills gave. In its links, the later still is counted from the stretch's first, and the earlier
/// one back from the later: it may lie before the stretch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LinkedStills {
    /// The files it was made from, the stretch's own and those before that it was compared with.
    pub made: Vec<Made>,
    /// What there is of each of its stills, from its first.
    pub stills: Vec<Sight>,
    /// How they lie.
    pub links: Vec<Link>,
}

/// A file that something was made from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Made {
    /// Its modification time, in nanoseconds since 1970, as text: JSON has no numbers so large.
    pub modified: String,
    /// BLAKE3 of the whole file, in hexadecimal digits; none where it was not read.
    pub of: Option<String>,
}

/// The part of an entry that is written as JSON.
#[derive(Serialize, Deserialize)]
struct Front {
    stretch: LinkedStills,
    /// By link, how many tiles it has.
    tiles: Vec<usize>,
}

impl LinkedStills {
    /// Keeps it.
    ///
    /// # Errors
    /// What the disk says.
    pub fn put(&self, store: &Store, key: &blake3::Hash) -> io::Result<()> {
        let tiles: Vec<usize> = self.links.iter().map(|link| link.tiles.len()).collect();
        let bare = self.links.iter().map(|link| Link { tiles: Vec::new(), ..link.clone() });
        let front = Front { stretch: Self { links: bare.collect(), ..self.clone() }, tiles };
        let front = serde_json::to_vec(&front)?;
        let mut body = u32::try_from(front.len()).unwrap_or(0).to_le_bytes().to_vec();
        body.extend(front);
        let numbers = self.links.iter().flat_map(|link| &link.tiles).flatten();
        body.extend(numbers.flat_map(|number| number.to_le_bytes()));
        store.put(key, &body).map(|_kept| ())
    }

    /// The stretch of a key; none where there is no entry, or one that is not whole.
    #[must_use]
    pub fn get(store: &Store, key: &blake3::Hash) -> Option<Self> {
        let mut bytes = Vec::new();
        let body = store.get(key, &mut bytes)?;
        let (length, rest) = body.split_first_chunk::<4>()?;
        let (front, numbers) = rest.split_at_checked(u32::from_le_bytes(*length) as usize)?;
        let Front { mut stretch, tiles } = serde_json::from_slice(front).ok()?;
        let mut numbers = numbers.as_chunks::<4>().0.iter().map(|bytes| f32::from_le_bytes(*bytes));
        for (link, count) in stretch.links.iter_mut().zip(tiles) {
            for _ in 0..count {
                link.tiles.push([numbers.next()?, numbers.next()?, numbers.next()?]);
            }
        }
        Some(stretch)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stretch_comes_back_to_the_last_bit() {
        let store = Store::passing(LINKED_STILLS).unwrap();
        let key = blake3::hash(b"a stretch");
        let link =
            |later: usize| Link { earlier: later, later, at: [0.5, -2.0], tiles: vec![[0.1, -0.25, 0.9], [0.0; 3]] };
        let made = vec![Made { modified: "-5".into(), of: Some("ab".into()) }, Made { modified: "7".into(), of: None }];
        let stretch =
            LinkedStills { made, stills: vec![Sight::Seen, Sight::Blank, Sight::Seen], links: vec![link(1), link(2)] };
        assert_eq!(LinkedStills::get(&store, &key), None);
        stretch.put(&store, &key).unwrap();
        assert_eq!(LinkedStills::get(&store, &key), Some(stretch));
    }
}
