//! The shape of the sources themselves: who imports whom, that documents name what exists, and that every fault has a test.

use std::fs;
use std::path::{Path, PathBuf};

/// What knows nothing of a shoot: numbers, geometry, the maths of light and of movement. Each knows only those before it, here and
/// in the lists below.
const GROUND: [&str; 9] = ["units", "diag", "table", "store", "geom", "curve", "level", "register", "flow"];
/// What is handed on.
const DATA: [&str; 9] = ["picture", "shoot", "shot", "measures", "finding", "receipt", "master", "plan", "work"];
/// What turns the bytes of stills into pixels, and pixels into others: they know data, and no step.
const ENGINES: [&str; 4] = ["ffi", "integrity", "decode", "sample"];
/// The steps: each one function, meeting the others in data types only.
const STEPS: [&str; 10] = ["script", "survey", "look", "sheet", "resolve", "pipeline", "encode", "prove", "draw", "demo"];
/// What alone may import steps.
const COMPOSITION: [&str; 2] = ["session", "cli"];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn rust_files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            rust_files(&path, into);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            into.push(path);
        }
    }
}

/// The sources of a module: `src/name.rs`, and everything below `src/name/`.
fn sources_of(module: &str) -> Vec<PathBuf> {
    let mut files = Vec::new();
    let single = root().join(format!("src/{module}.rs"));
    if single.exists() {
        files.push(single);
    }
    let folder = root().join("src").join(module);
    if folder.exists() {
        rust_files(&folder, &mut files);
    }
    assert!(!files.is_empty(), "there is no module {module}");
    files
}

/// Top-level modules that a source file imports.
fn imports(path: &Path) -> Vec<String> {
    let depth = path.strip_prefix(root().join("src")).unwrap().components().count();
    imports_in(&fs::read_to_string(path).unwrap(), depth)
}

/// Top-level modules that a text names through `crate::` (a brace list included) or by climbing out of `depth` folders
/// with `super::`.
fn imports_in(text: &str, depth: usize) -> Vec<String> {
    let code: String = text.lines().map(|line| line.split("//").next().unwrap_or("")).collect::<Vec<_>>().join("\n");
    let mut found = Vec::new();
    for start in ["crate::".to_owned(), "super::".repeat(depth)] {
        for (at, _) in code.match_indices(&start) {
            let rest = &code[at + start.len()..];
            if let Some(list) = rest.strip_prefix('{') {
                let mut nesting = 0;
                let mut name = String::new();
                for letter in list.chars() {
                    match letter {
                        '{' => nesting += 1,
                        '}' if nesting == 0 => break,
                        '}' => nesting -= 1,
                        ',' if nesting == 0 => found.push(std::mem::take(&mut name)),
                        _ if nesting == 0 => name.push(letter),
                        _ => {}
                    }
                }
                found.push(name);
            } else {
                found.push(rest.chars().take_while(|letter| letter.is_alphanumeric() || *letter == '_').collect());
            }
        }
    }
    found
        .into_iter()
        .map(|name| name.trim().split("::").next().unwrap_or("").split(" as ").next().unwrap_or("").to_owned())
        .collect()
}

/// All modules that are no steps, from the lowest up.
fn from_below() -> Vec<&'static str> {
    [&GROUND[..], &DATA, &ENGINES].concat()
}

#[test]
fn no_step_imports_another_step_or_the_composition() {
    for step in STEPS {
        for path in sources_of(step) {
            for import in imports(&path) {
                let import = import.as_str();
                let another = (STEPS.contains(&import) && import != step) || COMPOSITION.contains(&import);
                assert!(!another, "{} imports {import}", path.display());
            }
        }
    }
}

/// So there is no circle among them either.
#[test]
fn whatever_is_no_step_knows_only_what_is_listed_before_it() {
    let order = from_below();
    for (at, module) in order.iter().enumerate() {
        for path in sources_of(module) {
            for import in imports(&path) {
                let import = import.as_str();
                let above = STEPS.contains(&import) || COMPOSITION.contains(&import) || order[at + 1..].contains(&import);
                assert!(!above, "{} imports {import}, which stands above {module}", path.display());
            }
        }
    }
}

#[test]
fn every_module_of_the_library_has_its_kind() {
    let library = fs::read_to_string(root().join("src/lib.rs")).unwrap();
    for line in library.lines().filter_map(|line| line.strip_prefix("pub mod ")) {
        let module = line.trim_end_matches(';');
        let known = STEPS.contains(&module) || from_below().contains(&module) || COMPOSITION.contains(&module);
        assert!(known, "{module} is neither ground, data, engine, step nor composition");
    }
}

#[test]
fn the_import_reader_sees_lists_and_climbs() {
    assert_eq!(imports_in("use crate::{encode as e, units::{A, B}, plan};", 2), ["encode", "units", "plan"]);
    assert_eq!(imports_in("use super::super::survey::x; // crate::encode", 2), ["survey"]);
}

#[test]
fn unsafe_code_stands_only_where_it_is_allowed() {
    let mut files = Vec::new();
    rust_files(&root().join("src"), &mut files);
    for path in files {
        let text = fs::read_to_string(&path).unwrap();
        let code = text.lines().filter(|line| !line.trim_start().starts_with("//"));
        let uses =
            code.filter(|line| line.contains("unsafe {") || line.contains("unsafe fn") || line.contains("unsafe impl")).count();
        let name = path.strip_prefix(root().join("src")).unwrap().to_string_lossy().into_owned();
        let allowed = name.starts_with("ffi") || name.starts_with("sample/kernels");
        assert!(uses == 0 || allowed, "{name} has unsafe code");
    }
}

/// Paths in backticks that a document names must exist.
#[test]
fn every_path_the_documents_name_exists() {
    let mut checked = 0;
    for document in ["README.md", "DEVELOPERS.md", "scripts/bench.md", "tests/FAULTS.md"] {
        let text = fs::read_to_string(root().join(document)).unwrap();
        for quoted in text.split('`').skip(1).step_by(2) {
            let first = quoted.split_whitespace().last().unwrap_or("");
            let looks_like_ours = ["src/", "scripts/", "examples/", "tests/", ".ci/"];
            if looks_like_ours.iter().any(|prefix| first.starts_with(prefix)) && !first.contains(['*', '{', '<', '…']) {
                assert!(root().join(first).exists(), "{document} names {first}, which is not there");
                checked += 1;
            }
        }
    }
    assert!(checked > 10, "only {checked} paths were found to check: is the reader of documents broken?");
}

/// The numbers of the faults that need a test.
fn faults_due() -> Vec<u32> {
    (1..=68).chain(71..=75).chain([76, 79]).collect()
}

/// One line `/// Fault 14: its name.` above a test.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Tag {
    fault: u32,
    file: String,
    test: String,
    name: String,
}

/// The tags of a source. Each must stand in the comment right above a test that is run.
fn tags_in(file: &str, text: &str) -> Result<Vec<Tag>, String> {
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    let mut tags = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        let Some(tag) = line.strip_prefix("/// Fault ") else { continue };
        let misplaced = |why: &str| format!("{file}:{}: {why}: {line}", at + 1);
        let (fault, name) = tag.split_once(": ").ok_or_else(|| misplaced("no name"))?;
        let fault = fault.parse().map_err(|_| misplaced("no number"))?;
        let name = name.strip_suffix('.').ok_or_else(|| misplaced("no full stop"))?.to_owned();
        let after: Vec<&str> = lines[at..].iter().copied().skip_while(|line| line.starts_with("///")).collect();
        let attributes = after.iter().take_while(|line| line.starts_with("#[")).count();
        let (attributes, code) = after.split_at(attributes);
        let head = code.first().and_then(|line| line.strip_prefix("fn ")).and_then(|rest| rest.split('(').next());
        let run = attributes.contains(&"#[test]") && !attributes.iter().any(|line| line.starts_with("#[ignore"));
        let test = head.filter(|_| run).ok_or_else(|| misplaced("no test below that is run"))?.to_owned();
        tags.push(Tag { fault, file: file.to_owned(), test, name });
    }
    Ok(tags)
}

/// The page of faults that the tags make. Tags of one fault must agree on its name.
fn page_of_faults(mut tags: Vec<Tag>) -> Result<String, String> {
    tags.sort();
    let mut page = String::from(
        "# Faults and their tests\n\n\
         What a shoot, a script or a machine does wrong, and the tests that fail when the program no longer handles it.\n\
         Made from the lines `/// Fault 14: its name.` above tests, by\n\
         `STILLPATH_WRITE_FAULTS=1 cargo test --locked --test architecture faults`. Do not edit.\n\n\
         | | fault | tests |\n|---|---|---|\n",
    );
    for tags in tags.chunk_by(|a, b| a.fault == b.fault) {
        let Tag { fault, name, .. } = &tags[0];
        if let Some(other) = tags.iter().find(|tag| tag.name != *name) {
            return Err(format!("fault {fault} has two names: {name:?} and, in {}, {:?}", other.file, other.name));
        }
        let tests = tags.chunk_by(|a, b| a.file == b.file).map(|tags| {
            let names: Vec<String> = tags.iter().map(|tag| format!("`{}`", tag.test)).collect();
            format!("`{}` {}", tags[0].file, names.join(" "))
        });
        page.push_str(&format!("| {fault} | {name} | {} |\n", tests.collect::<Vec<_>>().join("; ")));
    }
    Ok(page)
}

#[test]
fn every_fault_has_tests_and_the_page_of_faults_is_fresh() {
    let mut files = Vec::new();
    rust_files(&root().join("src"), &mut files);
    rust_files(&root().join("tests"), &mut files);
    files.retain(|path| !path.ends_with("tests/architecture.rs"));
    let mut tags = Vec::new();
    for path in files {
        let name = path.strip_prefix(root()).unwrap().to_string_lossy().into_owned();
        tags.extend(tags_in(&name, &fs::read_to_string(&path).unwrap()).unwrap_or_else(|fault| panic!("{fault}")));
    }
    let mut faults: Vec<u32> = tags.iter().map(|tag| tag.fault).collect();
    faults.sort_unstable();
    faults.dedup();
    assert_eq!(faults, faults_due());
    let page = page_of_faults(tags).unwrap_or_else(|fault| panic!("{fault}"));
    let file = root().join("tests/FAULTS.md");
    let fresh = fs::read_to_string(&file).unwrap_or_default() == page;
    if !fresh && std::env::var_os("STILLPATH_WRITE_FAULTS").is_some() {
        fs::write(&file, page).unwrap();
    }
    assert!(
        fresh,
        "tests/FAULTS.md was stale: `STILLPATH_WRITE_FAULTS=1 cargo test --locked --test architecture faults` writes it (and fails once)"
    );
}

#[test]
fn a_fault_tag_without_a_test_that_is_run_or_with_two_names_is_refused() {
    let tag = |file: &str, name: &str| Tag { fault: 7, file: file.into(), test: "a".into(), name: name.into() };
    let tagged = "/// Fault 7: copies.\n/// More.\n#[cfg(unix)]\n    #[test]\n    fn a() {}";
    assert_eq!(tags_in("x.rs", tagged), Ok(vec![tag("x.rs", "copies")]));
    for bad in [
        "/// Fault 7: copies.\n#[test]\n#[ignore = \"x\"]\nfn a() {}",
        "/// Fault 7: copies.\nfn a() {}\n#[test]\nfn b() {}",
        "/// Fault 7: copies.\n\n#[test]\nfn a() {}",
        "/// Fault seven: copies.\n#[test]\nfn a() {}",
        "/// Fault 7: copies\n#[test]\nfn a() {}",
    ] {
        assert!(tags_in("x.rs", bad).is_err(), "{bad}");
    }
    assert!(
        page_of_faults(vec![tag("x.rs", "copies"), tag("y.rs", "copies")])
            .unwrap()
            .ends_with("| 7 | copies | `x.rs` `a`; `y.rs` `a` |\n")
    );
    assert!(page_of_faults(vec![tag("x.rs", "copies"), tag("y.rs", "a copy")]).is_err());
}
