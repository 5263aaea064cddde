//! Containers that ask for much more than they are long.

use super::Container;

fn boxed(name: &[u8; 4], body: &[&[u8]]) -> Vec<u8> {
    let body = body.concat();
    let length = u32::try_from(body.len() + 8).unwrap();
    [&length.to_be_bytes()[..], name, &body].concat()
}

fn full(name: &[u8; 4], version: u8, body: &[&[u8]]) -> Vec<u8> {
    boxed(name, &[&[version, 0, 0, 0], &body.concat()])
}

/// A file whose first item is what is shown, of this kind, and whose second is a picture; `iloc` as given, a
/// configuration of so many bytes, and the first item made of the second so many times.
fn file(kind: &[u8; 4], iloc: &[u8], configured: usize, tiles: u16) -> Vec<u8> {
    let item = |item: u8, kind: &[u8; 4]| boxed(b"infe", &[&[2, 0, 0, 0, 0, item, 0, 0], kind, &[0]]);
    let size = full(b"ispe", 0, &[&64_u32.to_be_bytes(), &64_u32.to_be_bytes()]);
    let config = boxed(b"hvcC", &[&vec![1; configured]]);
    let owned = full(b"ipma", 0, &[&2_u32.to_be_bytes(), &[0, 1, 2, 1, 2, 0, 2, 2, 1, 2]]);
    let parts = [[0, 2]].repeat(tiles.into()).concat();
    let meta = [
        full(b"pitm", 0, &[&[0, 1]]),
        full(b"iinf", 0, &[&[0, 2], &item(1, kind), &item(2, b"hvc1")]),
        full(b"iloc", 1, &[iloc]),
        boxed(b"iprp", &[&boxed(b"ipco", &[&size, &config]), &owned]),
        full(b"iref", 0, &[&boxed(b"dimg", &[&[0, 1], &tiles.to_be_bytes(), &parts])]),
        // A grid of 255 rows of 256 tiles.
        boxed(b"idat", &[&[0, 0, 254, 255, 0, 64, 0, 64, 0, 0]]),
    ];
    full(b"meta", 0, &[&meta.concat()])
}

fn said(file: &[u8]) -> String {
    let mut file = file;
    match Container::read(&mut file) {
        Ok(container) => container.coded(&mut file, &container.tiles[0]).map_or_else(
            |damage| damage.to_string(),
            |bytes| format!("{} tiles, the first of {} bytes", container.tiles.len(), bytes.len()),
        ),
        Err(damage) => damage.to_string(),
    }
}

/// `iloc` of one item: places and lengths of `wide` bytes, so many stretches that are each all of the file.
fn stretches(wide: u8, count: u16) -> Vec<u8> {
    let each = [0].repeat(usize::from(2 * wide) * usize::from(count));
    [&[wide << 4 | wide, 0, 0, 1, 0, 1, 0, 0, 0, 0][..], &count.to_be_bytes(), &each].concat()
}

#[test]
fn stretches_that_take_no_room_in_the_list_are_refused_but_for_one() {
    assert!(said(&file(b"hvc1", &stretches(0, 1), 10, 0)).starts_with("1 tiles, the first of "));
    assert!(said(&file(b"hvc1", &stretches(0, 0xFFFF), 10, 0)).contains("its list of pictures cannot be read"));
}

#[test]
fn stretches_over_one_another_come_to_no_more_than_the_file_holds() {
    assert!(said(&file(b"hvc1", &stretches(4, 1), 10, 0)).starts_with("1 tiles, the first of "));
    assert!(said(&file(b"hvc1", &stretches(4, 5000), 10, 0)).contains("a part of it is too long to be one"));
}

#[test]
fn a_list_of_tiles_that_names_one_again_and_again_is_not_unfolded() {
    let in_idat = [0x44, 0, 0, 1, 0, 1, 0, 1, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 8];
    let tiles = 255 * 256;
    let refused = said(&file(b"grid", &in_idat, 4000, tiles));
    assert!(refused.contains("its list of tiles is too long to be one"), "{refused}");
    let small = said(&file(b"grid", &in_idat, 20, tiles));
    assert!(small.contains("a part of it has no bytes"), "{small}");
}
