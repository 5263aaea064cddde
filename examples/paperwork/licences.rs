//! The licences of every crate that the program is linked with, as their authors wrote them, by what Cargo knows of
//! them.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

use serde_json::Value;

/// What may be handed out with the program as long as its notice comes along, by SPDX's names
/// (https://spdx.org/licenses).
const TAKEN: [&str; 13] = [
    "MIT",
    "MIT-0",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "IJG",
    "Zlib",
    "Unicode-3.0",
    "Unlicense",
    "CC0-1.0",
    "WTFPL",
];

/// Whether a licence in SPDX's words is one that is taken, or offers one.
fn is_taken(words: &str) -> bool {
    let bare = words.replace(['(', ')'], " ").replace('/', " OR ");
    bare.split(" AND ").all(|part| part.split(" OR ").any(|one| TAKEN.contains(&one.trim())))
}

/// Names, versions, licences and texts, one crate after the other.
///
/// # Errors
/// Where Cargo cannot be run, says something else than JSON, or a crate has no licence of [`TAKEN`].
pub(crate) fn notes(project: &Path) -> Result<String, Box<dyn std::error::Error>> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let platform = Command::new("rustc").arg("-vV").output()?;
    let platform = String::from_utf8(platform.stdout)?;
    let host = platform.lines().find_map(|line| line.strip_prefix("host: ")).ok_or("rustc does not name its host")?;
    let arguments = ["metadata", "--format-version", "1", "--locked", "--filter-platform", host];
    let told = Command::new(cargo).args(arguments).current_dir(project).output()?;
    if !told.status.success() {
        return Err(String::from_utf8_lossy(&told.stderr).into_owned().into());
    }
    let told: Value = serde_json::from_slice(&told.stdout)?;
    let packages: BTreeMap<&str, &Value> =
        each(&told["packages"]).filter_map(|package| Some((package["id"].as_str()?, package))).collect();
    let root = told["resolve"]["root"].as_str().ok_or("there is no root package")?;
    let mut text =
        String::from("Stillpath is linked with these crates. Their licences follow, as they come with them.\n");
    for id in linked(&told, root) {
        let package = packages.get(id.as_str()).ok_or("a package that is not described")?;
        let word = |key: &str| package[key].as_str().unwrap_or_default();
        let folder = Path::new(word("manifest_path")).parent().ok_or("a package without a folder")?;
        if !is_taken(word("license")) {
            return Err(format!(
                "{} is under {}, which is not on the list of licences taken",
                word("name"),
                word("license")
            )
            .into());
        }
        text += &format!("\n======== {} {}: {}\n", word("name"), word("version"), word("license"));
        for file in texts(folder)? {
            text += &format!("\n{}\n", String::from_utf8_lossy(&std::fs::read(file)?).trim_end());
        }
    }
    Ok(text)
}

fn each(list: &Value) -> impl Iterator<Item = &Value> {
    list.as_array().into_iter().flatten()
}

/// What ends up in the program: neither what only builds it nor what only tests it.
fn linked(told: &Value, root: &str) -> BTreeSet<String> {
    let nodes: BTreeMap<&str, &Value> =
        each(&told["resolve"]["nodes"]).filter_map(|node| Some((node["id"].as_str()?, node))).collect();
    let (mut found, mut open) = (BTreeSet::new(), vec![root.to_owned()]);
    while let Some(id) = open.pop() {
        let is_linked = |dependency: &&Value| each(&dependency["dep_kinds"]).any(|kind| kind["kind"].is_null());
        for dependency in nodes.get(id.as_str()).into_iter().flat_map(|node| each(&node["deps"])).filter(is_linked) {
            let Some(package) = dependency["pkg"].as_str() else { continue };
            if found.insert(package.to_owned()) {
                open.push(package.to_owned());
            }
        }
    }
    found
}

/// Files of a crate that hold its licence.
fn texts(folder: &Path) -> std::io::Result<Vec<std::path::PathBuf>> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().to_uppercase();
        if path.is_file()
            && ["LICENSE", "LICENCE", "COPYING", "NOTICE", "COPYRIGHT"].iter().any(|start| name.starts_with(start))
        {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}
