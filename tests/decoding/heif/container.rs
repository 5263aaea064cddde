//! Tiles, turns, crops and tags: what the container says.

use stillpath::decode::header::Ending;
use stillpath::picture::Siting;
use stillpath::shoot::{Captured, Format, Orientation};
use stillpath::units::Size;

use super::boxes::{Grid, grid, imir, irot};
use super::{Folder, assert_near, decoded, header_of, samples, text, tool};

const SIZE: Size = Size { width: 94, height: 62 };

/// An EXIF block: an orientation, and when it was taken and how (Exif 2.31), the second in a directory of its own.
fn block(orientation: u8) -> Vec<u8> {
    let entry = |tag: u16, kind: u16, count: u32, value: [u8; 4]| {
        [&tag.to_be_bytes()[..], &kind.to_be_bytes(), &count.to_be_bytes(), &value].concat()
    };
    let mut out = b"MM\0*\0\0\0\x08\0\x02".to_vec();
    out.extend(entry(0x0112, 3, 1, [0, orientation, 0, 0]));
    out.extend(entry(0x8769, 4, 1, 38_u32.to_be_bytes()));
    out.extend([0; 4]);
    out.extend([0, 2]);
    out.extend(entry(0x829A, 5, 1, 68_u32.to_be_bytes()));
    out.extend(entry(0x9003, 2, 20, 76_u32.to_be_bytes()));
    out.extend([0; 4]);
    out.extend([0, 0, 0, 1, 0, 0, 0, 80]);
    out.extend(b"2026:05:01 14:32:09\0");
    out
}

fn taken() -> Option<Captured> {
    Some(Captured { local: jiff::civil::datetime(2026, 5, 1, 14, 32, 9, 0), offset: None })
}

// Fault 28: a turn is told by the container and by EXIF at once; phones write both for the same turn.
#[test]
fn the_containers_turn_is_applied_once_and_exifs_not_on_top() {
    let folder = Folder::new();
    let exif = folder.path().join("exif");
    for turns in ["0", "1", "2", "3"] {
        for mirror in [None, Some("0"), Some("1")] {
            for tag in [1, 3, 6, 8] {
                std::fs::write(&exif, block(tag)).unwrap();
                let mirrored: Vec<&str> = mirror.into_iter().flat_map(|mirror| ["--imir", mirror]).collect();
                let arguments = [&["--irot", turns, "--exif", text(&exif), "-y", "420"][..], &mirrored].concat();
                let avif = folder.avif(SIZE, &arguments);
                let (picture, due) = (decoded(&avif), folder.by_libheif(&avif));
                let what = format!("irot {turns}, imir {mirror:?}, EXIF {tag}");
                assert_eq!(picture.size, due.size, "{what}");
                assert_near(&samples(&picture, 0), &due.planes[0], &what);
                if tag != 1 {
                    break;
                }
            }
        }
    }
}

#[test]
fn chroma_goes_with_its_luma_where_a_picture_is_turned() {
    let folder = Folder::new();
    let picture = decoded(&folder.avif(Size::new(94, 62), &["--irot", "3", "-y", "422"]));
    // Half as many across as stored are half as many down when turned.
    assert_eq!(picture.planes[1].siting, Siting { step_x: 1.0, step_y: 2.0, origin_x: 0.5, origin_y: 1.0 });
    assert_eq!((picture.planes[1].width, picture.planes[1].height), (62, 47));
}

#[test]
fn a_clean_aperture_is_cut_out_as_libheif_cuts_it_and_chroma_keeps_its_place() {
    let folder = Folder::new();
    for (crop, left, top) in [("10,4,60,40", 10, 4), ("2,20,32,42", 2, 20)] {
        let avif = folder.avif(SIZE, &["--crop", crop, "-y", "420"]);
        let (picture, due) = (decoded(&avif), folder.by_libheif(&avif));
        assert_eq!((picture.size, header_of(&avif).stored), (due.size, due.size), "{crop}");
        for plane in 0..3 {
            assert_near(&samples(&picture, plane), &due.planes[plane], &format!("{crop}: plane {plane}"));
        }
        assert_eq!((left % 2, top % 2, picture.planes[1].siting.origin_x), (0, 0, 1.0));
    }
}

/// Nine tiles of 64 pixels, of which the last of each row and column is cut off.
fn tiles(folder: &Folder) -> Vec<std::path::PathBuf> {
    let make = |tile: u8| {
        let (png, heic) = (folder.path().join("tile.png"), folder.path().join(format!("tile{tile}.heic")));
        let mut rgb = crate::decoding::scene(Size::new(64, 64), 3);
        rgb.iter_mut().for_each(|code| *code = code.wrapping_add(tile * 23));
        image::save_buffer(&png, &rgb, 64, 64, image::ExtendedColorType::Rgb8).unwrap();
        tool("heif-enc", &["-q", "70", "-p", "preset=ultrafast", text(&png), "-o", text(&heic)]);
        heic
    };
    (0..9).map(make).collect()
}

/// Fault 28: orientation in the container and in EXIF.
#[test]
fn a_heic_of_tiles_as_phones_write_it_is_put_together_turned_once_and_tells_its_time() {
    let folder = Folder::new();
    let tiles = tiles(&folder);
    let exif = block(6);
    for (properties, orientation) in [
        (vec![], Orientation::Upright),
        (vec![irot(3)], Orientation::QuarterClockwise),
        (vec![irot(1), imir(1)], Orientation::Transversed),
    ] {
        let grid = Grid {
            columns: 3,
            rows: 3,
            width: 180,
            height: 150,
            tile: 64,
            properties: properties.clone(),
            exif: &exif,
        };
        let heic = folder.path().join("grid.heic");
        std::fs::write(&heic, super::boxes::grid(&tiles, &grid)).unwrap();
        let header = header_of(&heic);
        assert_eq!((header.format, header.stored, header.ending), (Format::Heic, Size::new(180, 150), Ending::Whole));
        assert_eq!(
            (header.orientation, header.captured, header.settings.exposure),
            (orientation, taken(), Some(1.0 / 80.0))
        );
        let (picture, due) = (decoded(&heic), folder.by_libheif(&heic));
        assert_eq!(picture.size, due.size);
        assert_near(&samples(&picture, 0), &due.planes[0], &format!("{orientation:?}: luma"));
        if properties.is_empty() {
            for plane in 1..3 {
                assert_near(&samples(&picture, plane), &due.planes[plane], &format!("plane {plane}"));
            }
            // Every code of the fifth tile, the middle one, is where it should be.
            let tile = folder.by_libde265(&tiles[4], Size::new(64, 64), 8);
            let seen = samples(&picture, 0);
            for (y, due) in tile.planes[0].chunks(64).enumerate() {
                assert_eq!(&seen[(64 + y) * 180 + 64..][..64], due, "row {y} of the tile in the middle");
            }
        }
    }
}

#[test]
fn an_avif_of_tiles_is_put_together_as_libavif_puts_it_together() {
    let folder = Folder::new();
    let avif = folder.avif(Size::new(256, 128), &["--grid", "2x2", "-y", "420"]);
    let (picture, due) = (decoded(&avif), folder.by_libavif(&avif));
    assert_eq!((picture.size, due.size), (Size::new(256, 128), Size::new(256, 128)));
    for plane in 0..3 {
        assert!(samples(&picture, plane) == due.planes[plane], "plane {plane}");
    }
}

#[test]
fn a_grid_with_a_tile_missing_is_refused() {
    let folder = Folder::new();
    let tiles = tiles(&folder);
    let told = Grid { columns: 3, rows: 3, width: 180, height: 150, tile: 64, ..Grid::default() };
    let heic = folder.path().join("grid.heic");
    std::fs::write(&heic, grid(&tiles[..8], &told)).unwrap();
    let damage = super::damage_of(&heic).unwrap().to_string();
    assert!(damage.contains("8 tiles where its grid has 3 rows of 3"), "{damage}");
}
