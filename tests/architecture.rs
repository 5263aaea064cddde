//! The shape of the sources themselves: who imports whom, and that the documents name what is there.

use std::fs;
use std::path::{Path, PathBuf};

/// The steps: each one function, meeting the others in data types only.
const STEPS: [&str; 10] = ["script", "survey", "look", "sheet", "resolve", "pipeline", "encode", "prove", "draw", "demo"];
/// What only the composition may import beside steps.
const ABOVE_GROUND: [&str; 12] =
    ["script", "survey", "look", "sheet", "resolve", "pipeline", "encode", "prove", "draw", "demo", "session", "cli"];
/// Modules that know nothing above them.
const GROUND_AND_DATA: [&str; 22] = [
    "units",
    "diag",
    "geom",
    "curve",
    "table",
    "level",
    "register",
    "integrity",
    "ffi",
    "store",
    "decode",
    "flow",
    "sample",
    "shot",
    "shoot",
    "measures",
    "finding",
    "plan",
    "picture",
    "work",
    "receipt",
    "master",
];

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

#[test]
fn no_step_imports_another_step() {
    for step in STEPS {
        for path in sources_of(step) {
            for import in imports(&path) {
                let another = ABOVE_GROUND.contains(&import.as_str()) && import != step;
                assert!(!another, "{} imports {import}", path.display());
            }
        }
    }
}

#[test]
fn ground_and_data_know_nothing_above_them() {
    for module in GROUND_AND_DATA {
        for path in sources_of(module) {
            for import in imports(&path) {
                assert!(!ABOVE_GROUND.contains(&import.as_str()), "{} imports {import}", path.display());
            }
        }
    }
}

#[test]
fn every_module_of_the_library_has_its_kind() {
    let library = fs::read_to_string(root().join("src/lib.rs")).unwrap();
    for line in library.lines().filter_map(|line| line.strip_prefix("pub mod ")) {
        let module = line.trim_end_matches(';');
        let known = STEPS.contains(&module) || GROUND_AND_DATA.contains(&module) || module == "session";
        assert!(known, "{module} is neither ground, data, step nor composition");
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
    for document in ["README.md", "DEVELOPERS.md"] {
        let text = fs::read_to_string(root().join(document)).unwrap();
        for quoted in text.split('`').skip(1).step_by(2) {
            let first = quoted.split_whitespace().last().unwrap_or("");
            let looks_like_ours = ["src/", "scripts/", "examples/", "tests/", "benches/", ".ci/"];
            if looks_like_ours.iter().any(|prefix| first.starts_with(prefix)) && !first.contains(['*', '{', '<', '…']) {
                assert!(root().join(first).exists(), "{document} names {first}, which is not there");
                checked += 1;
            }
        }
    }
    assert!(checked > 10, "only {checked} paths were found to check: is the reader of documents broken?");
}

/// The numbers of the job's faults that are to be proved.
fn faults_due() -> Vec<u32> {
    (1..=68).chain(71..=75).chain([76, 79]).collect()
}

/// Whether a source has a test of this name: `#[test]` within the attributes right above it, and not left out.
fn has_test(text: &str, name: &str) -> bool {
    let head = format!("fn {name}(");
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    lines.iter().position(|line| line.starts_with(&head)).is_some_and(|at| {
        let above = lines[..at].iter().rev().take_while(|line| line.starts_with("#["));
        let above: Vec<&&str> = above.collect();
        above.iter().any(|line| **line == "#[test]") && !above.iter().any(|line| line.starts_with("#[ignore"))
    })
}

#[test]
fn every_fault_has_tests_and_every_test_named_for_one_exists() {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let section = text.split("## Faults and their tests").nth(1).unwrap().split("\n## ").next().unwrap();
    let mut faults: Vec<u32> = Vec::new();
    for row in section.lines().filter(|line| line.starts_with("| ")) {
        let Some(fault) = row.split('|').nth(1).and_then(|cell| cell.trim().parse::<u32>().ok()) else { continue };
        let (mut source, mut tests) = (String::new(), 0);
        for quoted in row.split('`').skip(1).step_by(2) {
            if quoted.ends_with(".rs") {
                source =
                    fs::read_to_string(root().join(quoted)).unwrap_or_else(|error| panic!("fault {fault}: {quoted}: {error}"));
            } else {
                assert!(has_test(&source, quoted), "fault {fault}: there is no test {quoted} where the table says");
                tests += 1;
            }
        }
        assert!(tests > 0, "fault {fault} has no test");
        faults.push(fault);
    }
    assert_eq!(faults, faults_due());
}

#[test]
fn a_test_that_is_not_run_is_not_found() {
    assert!(has_test("    #[cfg(unix)]\n    #[test]\n    fn a() {}", "a"));
    assert!(!has_test("#[test]\n#[ignore = \"x\"]\nfn a() {}", "a"));
    assert!(!has_test("fn a() {}\n#[test]\nfn ab() {}", "a"));
}
