use super::*;

const KIND: Kind = Kind { folder: "things", head: b"stillpath test 1", most: u64::MAX };

fn key(of: usize) -> blake3::Hash {
    blake3::hash(&of.to_le_bytes())
}

/// What an entry takes with a body of so many bytes.
const fn taken(body: usize) -> u64 {
    (HEAD + blake3::OUT_LEN + body) as u64
}

fn has(store: &Store, of: usize) -> bool {
    store.get(&key(of), &mut Vec::new()).is_some()
}

fn days_ago(store: &Store, of: usize, days: u64) {
    let file = File::options().append(true).open(store.path(&key(of))).unwrap();
    file.set_modified(SystemTime::now() - Duration::from_secs(86_400 * days)).unwrap();
}

#[test]
fn an_entry_comes_back_as_it_was_and_not_at_all_once_a_byte_of_it_has_changed() {
    let store = Store::passing(KIND).unwrap();
    let mut bytes = vec![7; 3];
    assert!(store.get(&key(1), &mut bytes).is_none());
    assert!(store.put(&key(1), b"a body").unwrap());
    assert_eq!(store.get(&key(1), &mut bytes), Some(b"a body".as_slice()));
    let path = store.path(&key(1));
    let whole = fs::read(&path).unwrap();
    for at in 0..whole.len() {
        let mut spoilt = whole.clone();
        spoilt[at] ^= 0x10;
        fs::write(&path, &spoilt).unwrap();
        assert!(!has(&store, 1), "byte {at}");
    }
    fs::write(&path, &whole[..whole.len() - 1]).unwrap();
    assert!(!has(&store, 1));
    store.put(&key(1), b"another").unwrap();
    assert!(has(&store, 1), "a damaged entry is made again");
}

#[test]
fn a_cap_throws_out_what_has_been_unused_the_longest() {
    let folder = tempfile::tempdir().unwrap();
    let store = |cap| Store::lasting(folder.path(), KIND).unwrap().capped(cap);
    let first = store(4 * taken(100));
    for of in 0..4 {
        assert!(first.put(&key(of), &[0; 100]).unwrap());
        days_ago(&first, of, 10 - of as u64);
    }
    // Used again: now the youngest.
    assert!(has(&first, 0));
    let second = store(4 * taken(100));
    assert!(second.put(&key(9), &[0; 100]).unwrap());
    let there: Vec<usize> = (0..10).filter(|of| second.path(&key(*of)).exists()).collect();
    assert_eq!(there, [0, 2, 3, 9]);
    assert_eq!(holding(folder.path()).unwrap(), Holding { entries: 4, bytes: 4 * taken(100) });
    // One larger than the cap would throw out everything for nothing.
    assert!(!second.put(&key(10), &[0; 1000]).unwrap());
    assert_eq!(holding(folder.path()).unwrap().entries, 4);
}

#[test]
fn a_store_that_stays_has_the_cap_of_its_kind() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::lasting(folder.path(), Kind { most: 2 * taken(50), ..KIND }).unwrap();
    assert_eq!([0, 1, 2].map(|of| store.put(&key(of), &[1; 50]).unwrap()), [true, true, false]);
}

#[test]
fn what_a_run_has_used_itself_makes_no_room_so_that_a_large_shoot_keeps_what_fits() {
    let folder = tempfile::tempdir().unwrap();
    for _ in 0..2 {
        let store = Store::lasting(folder.path(), KIND).unwrap().capped(3 * taken(50));
        for of in 0..8 {
            if !has(&store, of) {
                store.put(&key(of), &[1; 50]).unwrap();
            }
        }
        let there: Vec<usize> = (0..8).filter(|of| store.path(&key(*of)).exists()).collect();
        assert_eq!(there, [0, 1, 2]);
    }
}

#[test]
fn two_runs_at_once_stay_near_the_cap_and_hurt_no_entry() {
    let folder = tempfile::tempdir().unwrap();
    let cap = 64 * taken(1000);
    let run = |from: usize| {
        let store = Store::lasting(folder.path(), KIND).unwrap().capped(cap);
        for of in from..from + 100 {
            store.put(&key(of), &[0; 1000]).unwrap();
            store.get(&key(of.saturating_sub(50)), &mut Vec::new());
        }
    };
    std::thread::scope(|scope| {
        [0, 1000, 2000].map(|from| scope.spawn(move || run(from))).map(|run| run.join().unwrap())
    });
    let held = holding(folder.path()).unwrap();
    assert!(held.bytes <= cap + 3 * (cap / LOOKS_A_CAP + taken(1000)), "{held:?} of {cap}");
    let store = Store::read_only(folder.path(), KIND);
    let whole = (0..3000).filter(|of| has(&store, *of)).count();
    assert_eq!(whole as u64, held.entries, "every entry is whole");
}

#[test]
fn clearing_removes_the_programs_own_files_and_follows_no_link() {
    let outside = tempfile::tempdir().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let store = Store::lasting(folder.path(), KIND).unwrap();
    for of in 0..5 {
        store.put(&key(of), &[0; 10]).unwrap();
    }
    let own = store.path(&key(0));
    let digits = own.file_name().unwrap().to_owned();
    let shelf = own.parent().unwrap().to_owned();
    // What is not ours: another name, a name like ours with other content, a folder, links to a file and to a folder.
    let precious = outside.path().join(&digits);
    fs::copy(&own, &precious).unwrap();
    fs::write(folder.path().join("notes.txt"), b"mine").unwrap();
    fs::write(shelf.join("notes.txt"), b"mine").unwrap();
    let alike = shelf.join("0".repeat(62));
    fs::write(&alike, b"stillpath things of my own").unwrap();
    let dir = shelf.join("1".repeat(62));
    fs::create_dir(&dir).unwrap();
    let link = shelf.join("2".repeat(62));
    std::os::unix::fs::symlink(&precious, &link).unwrap();
    let linked = (0..=255).map(|two| folder.path().join(format!("{two:02x}"))).find(|path| !path.exists()).unwrap();
    std::os::unix::fs::symlink(outside.path(), &linked).unwrap();
    let other = linked.with_file_name("zz");
    fs::create_dir(&other).unwrap();
    fs::copy(&own, other.join(&digits)).unwrap();
    // One of a run that was killed long ago, and one of a run that is at work.
    let (abandoned, at_work) = (shelf.join(".stillpath-aaaaaa"), shelf.join(".stillpath-bbbbbb"));
    for path in [&abandoned, &at_work] {
        fs::write(path, b"stillp").unwrap();
    }
    let hours = SystemTime::now() - Duration::from_secs(7200);
    File::options().append(true).open(&abandoned).unwrap().set_modified(hours).unwrap();

    let shelves = || {
        fs::read_dir(folder.path())
            .unwrap()
            .filter(|entry| entry.as_ref().unwrap().file_type().unwrap().is_dir())
            .count()
    };
    assert!(shelves() > 2, "{}", shelves());
    let gone = clear(folder.path(), KIND).unwrap();
    assert_eq!(shelves(), 2, "the folder of what is not ours, and the one of no such name");
    assert_eq!(gone, Holding { entries: 6, bytes: 5 * taken(10) + 6 });
    assert!((0..5).all(|of| !has(&store, of)) && !abandoned.exists());
    let others =
        [&precious, &alike, &dir, &linked, &at_work, &folder.path().join("notes.txt"), &shelf.join("notes.txt")];
    assert!(others.iter().all(|path| path.exists()) && link.symlink_metadata().is_ok() && other.join(&digits).exists());
    // A store that is itself a link is not entered.
    let moved = tempfile::tempdir().unwrap();
    let (real, door) = (moved.path().join("real"), moved.path().join("door"));
    Store::lasting(&real, KIND).unwrap().put(&key(1), b"x").unwrap();
    std::os::unix::fs::symlink(&real, &door).unwrap();
    assert_eq!(clear(&door, KIND).unwrap(), Holding::default());
    assert_eq!(holding(&real).unwrap().entries, 1);
    assert_eq!(clear(&moved.path().join("nothing"), KIND).unwrap(), Holding::default());
}

#[test]
fn a_store_that_cannot_be_written_to_is_still_read() {
    let folder = tempfile::tempdir().unwrap();
    Store::lasting(folder.path(), KIND).unwrap().put(&key(1), b"x").unwrap();
    let store = Store::read_only(folder.path(), KIND);
    assert!(has(&store, 1) && !store.put(&key(2), b"y").unwrap() && !has(&store, 2));
    fs::write(folder.path().join("file"), b"").unwrap();
    assert!(Store::lasting(&folder.path().join("file"), KIND).is_err());
}
