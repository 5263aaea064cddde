//! The shape of the sources themselves: who imports whom, that documents name what exists, and that every fault has a
//! test.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// What knows nothing of a shoot: numbers, geometry, the maths of light and of movement. Each knows only those before
/// it, here and in the lists below.
const GROUND: [&str; 12] =
    ["units", "diag", "table", "seal", "store", "geom", "curve", "level", "register", "track", "flow", "reckon"];
/// What is handed on.
const DATA: [&str; 9] = ["picture", "shoot", "shot", "measures", "finding", "receipt", "master", "plan", "work"];
/// What turns the bytes of stills into pixels, and pixels into others: they know data, and no step.
const ENGINES: [&str; 7] = ["ffi", "integrity", "decode", "sample", "lettering", "ink", "flash"];
/// The steps: each one function, meeting the others in data types only.
const STEPS: [&str; 11] =
    ["script", "survey", "look", "sheet", "resolve", "pipeline", "encode", "prove", "draw", "hand", "demo"];
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

/// The module that a file below `src` is: `draw/mod.rs` is `draw`, `draw/still.rs` is `draw::still`.
fn module_of(file: &str) -> Vec<String> {
    let mut parts: Vec<String> = file.trim_end_matches(".rs").split('/').map(str::to_owned).collect();
    if parts.last().is_some_and(|last| last == "mod") {
        parts.pop();
    }
    parts
}

/// The name of a file, seen from `src`.
fn file_name(path: &Path) -> String {
    path.strip_prefix(root().join("src")).unwrap().to_string_lossy().into_owned()
}

/// Top-level modules that a source file imports, in its tests too.
fn imports(path: &Path) -> Vec<String> {
    let imports = imports_in(&fs::read_to_string(path).unwrap(), &module_of(&file_name(path)));
    imports.into_iter().filter_map(|path| path.into_iter().next()).collect()
}

/// The paths, from the crate's root, that a module's text imports or names through `crate` and `super`, modules within
/// it included.
fn imports_in(text: &str, module: &[String]) -> BTreeSet<Vec<String>> {
    let (mut code, mut imports) = (String::new(), BTreeSet::new());
    let mut lines = text.lines().map(|line| line.split("//").next().unwrap_or(""));
    while let Some(line) = lines.next() {
        // As rustfmt lays out a module within a file.
        match line.strip_prefix("pub ").unwrap_or(line).strip_prefix("mod ").and_then(|rest| rest.strip_suffix(" {")) {
            Some(name) => {
                let inner: Vec<&str> = lines.by_ref().take_while(|line| *line != "}").collect();
                imports.extend(imports_in(&inner.join("\n"), &[module, &[name.to_owned()]].concat()));
            }
            None => code = code + line + "\n",
        }
    }
    let mut found = Vec::new();
    let begins =
        |at: usize| !code[..at].ends_with(|before: char| before.is_alphanumeric() || matches!(before, '_' | ':'));
    for (at, word) in code.match_indices("use ").filter(|(at, _)| begins(*at)) {
        let list = code[at + word.len()..].split(';').next().unwrap_or("");
        expand(&[], list, &mut found);
    }
    for start in ["crate::", "super::"] {
        for (at, _) in code.match_indices(start).filter(|(at, _)| begins(*at)) {
            let path =
                code[at..].split(|letter: char| !(letter.is_alphanumeric() || matches!(letter, '_' | ':'))).next();
            expand(&[], path.unwrap_or("").trim_end_matches(':'), &mut found);
        }
    }
    imports.extend(found.iter().map(|path| from_root(path, module)).filter(|path| !path.is_empty()));
    imports
}

/// The paths of a list as `use` takes it, nested lists included.
fn expand(before: &[&str], list: &str, into: &mut Vec<Vec<String>>) {
    let mut nesting = 0;
    let parts = list.split(|letter: char| {
        nesting += i32::from(letter == '{') - i32::from(letter == '}');
        letter == ',' && nesting == 0
    });
    for part in parts.map(str::trim).filter(|part| !part.is_empty()) {
        let (head, inner) = part.split_once('{').map_or((part, None), |(head, inner)| (head, inner.rsplit_once('}')));
        let head = head.split(" as ").next().unwrap_or("").split("::").map(str::trim).filter(|name| !name.is_empty());
        let path: Vec<&str> = before.iter().copied().chain(head).collect();
        match inner {
            Some((inner, _)) => expand(&path, inner, into),
            None => into.push(path.into_iter().map(str::to_owned).collect()),
        }
    }
}

/// A path as a module writes it, seen from the crate's root; what neither `crate` nor `super` leads is taken for its
/// own.
fn from_root(path: &[String], module: &[String]) -> Vec<String> {
    let climbs = path.iter().take_while(|name| *name == "super").count();
    let (base, rest) = match path.first().map(String::as_str) {
        Some("crate") => (&module[..0], &path[1..]),
        Some("self") => (module, &path[1..]),
        _ => (&module[..module.len().saturating_sub(climbs)], &path[climbs..]),
    };
    base.iter().chain(rest).filter(|name| *name != "self").cloned().collect()
}

/// A text without the items that are there for tests only: each ends as rustfmt lays it out.
fn without_tests(text: &str) -> String {
    let mut kept = String::new();
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        if line.trim_start() != "#[cfg(test)]" {
            kept += line;
            kept.push('\n');
            continue;
        }
        let indent = &line[..line.len() - line.trim_start().len()];
        let ends = |line: &str| {
            let own = line.strip_prefix(indent).filter(|rest| !rest.starts_with(char::is_whitespace));
            own.is_some_and(|rest| rest.starts_with('}') || (!rest.starts_with('#') && rest.ends_with([';', '}', ','])))
        };
        let _last = lines.by_ref().find(|line| ends(line));
    }
    kept
}

/// Files that import each other, directly or through others; test code left out. `sources` are file names, seen from
/// `src`, and texts. What a module imports of those above it is not counted: they hand on what stands beside it.
fn circles(sources: &[(String, String)]) -> Vec<Vec<&str>> {
    let files: BTreeMap<Vec<String>, usize> = sources.iter().map(|(file, _)| module_of(file)).zip(0..).collect();
    let imported = |(file, text): &(String, String)| -> BTreeSet<usize> {
        let module = module_of(file);
        let file_of = |path: Vec<String>| {
            let held = (1..=path.len()).rev().map(|length| &path[..length]).find(|part| files.contains_key(*part))?;
            (!module.starts_with(held)).then(|| files[held])
        };
        imports_in(&without_tests(text), &module).into_iter().filter_map(file_of).collect()
    };
    let imported: Vec<BTreeSet<usize>> = sources.iter().map(imported).collect();
    let reached = |from: usize| {
        let (mut reached, mut next) = (BTreeSet::new(), vec![from]);
        while let Some(file) = next.pop() {
            next.extend(imported[file].iter().filter(|file| reached.insert(**file)));
        }
        reached
    };
    let reached: Vec<BTreeSet<usize>> = (0..sources.len()).map(reached).collect();
    let circle = |file: usize| -> BTreeSet<usize> {
        reached[file].iter().copied().filter(|other| reached[*other].contains(&file)).collect()
    };
    let circles: BTreeSet<BTreeSet<usize>> =
        (0..sources.len()).map(circle).filter(|circle| !circle.is_empty()).collect();
    circles.iter().map(|circle| circle.iter().map(|file| sources[*file].0.as_str()).collect()).collect()
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
                let above =
                    STEPS.contains(&import) || COMPOSITION.contains(&import) || order[at + 1..].contains(&import);
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
    let seen = |text: &str| -> Vec<String> {
        imports_in(text, &module_of("draw/still.rs")).into_iter().map(|path| path.join("::")).collect()
    };
    let list = "use crate::{encode as e, units::{self, A, nested::{B}}, plan};";
    assert_eq!(seen(list), ["encode", "plan", "units", "units::A", "units::nested::B"]);
    assert_eq!(seen("use super::super::survey::x; // crate::encode"), ["survey::x"]);
    assert_eq!(
        seen("mod tests {\n    use super::super::sheet::Sheet;\n}\nuse super::scale;"),
        ["draw::scale", "draw::sheet::Sheet"]
    );
    assert_eq!(
        seen("fn f() -> super::scale::Scale { crate::geom::f(other_crate::g()) }"),
        ["draw::scale::Scale", "geom::f"]
    );
}

#[test]
fn no_files_import_each_other_in_a_circle() {
    let mut paths = Vec::new();
    rust_files(&root().join("src"), &mut paths);
    let is_test = |path: &Path| path.components().any(|part| part.as_os_str() == "tests") || path.ends_with("tests.rs");
    paths.retain(|path| !is_test(path.strip_prefix(root()).unwrap()));
    paths.sort();
    let sources: Vec<_> = paths.iter().map(|path| (file_name(path), fs::read_to_string(path).unwrap())).collect();
    let circles: Vec<String> = circles(&sources).iter().map(|circle| circle.join(", ")).collect();
    assert!(
        circles.is_empty(),
        "these import each other; what both need wants a file below both:\n{}",
        circles.join("\n")
    );
}

#[test]
fn the_search_for_circles_sees_what_is_imported_outside_of_tests() {
    let of = |one: &str, two: &str| {
        let sources =
            [("draw/mod.rs", "mod one;\npub use one::One;\nmod two;"), ("draw/one.rs", one), ("draw/two.rs", two)];
        let sources = sources.map(|(file, text)| (file.to_owned(), text.to_owned()));
        circles(&sources).into_iter().map(|circle| circle.join(" ")).collect::<Vec<_>>()
    };
    let both = ["draw/one.rs draw/two.rs"];
    assert_eq!(of("use super::{two::{Two, three}};", "use crate::draw::one::One;"), both);
    assert_eq!(of("use super::two;", "fn f() {\n    super::one::f();\n}"), both);
    let after_tests = "#[cfg(test)]\nmod tests;\n\n#[cfg(test)]\nimpl One {\n    fn f() {}\n}\n\nuse super::two::Two;";
    assert_eq!(of(after_tests, "use super::one::One;"), both);
    let none: [&str; 0] = [];
    assert_eq!(of("use super::two::Two;", "use std::fs; // super::one"), none);
    assert_eq!(of("use super::two::Two;", "use super::One;"), none, "what a module above hands on");
    assert_eq!(of("use super::two::Two;", "#[cfg(test)]\nmod tests {\n    use super::super::one::One;\n}"), none);
    assert_eq!(of("use super::two::Two;", "#[cfg(test)]\nuse super::one::One;"), none);
}

#[test]
fn unsafe_code_stands_only_where_it_is_allowed() {
    let mut files = Vec::new();
    rust_files(&root().join("src"), &mut files);
    for path in files {
        let text = fs::read_to_string(&path).unwrap();
        let code = text.lines().filter(|line| !line.trim_start().starts_with("//"));
        let uses = code
            .filter(|line| line.contains("unsafe {") || line.contains("unsafe fn") || line.contains("unsafe impl"))
            .count();
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
            if looks_like_ours.iter().any(|prefix| first.starts_with(prefix)) && !first.contains(['*', '{', '<', '…'])
            {
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
