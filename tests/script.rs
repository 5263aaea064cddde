//! The script step from outside: what scripts come to, what their mistakes say, and what they cannot do.

use std::path::PathBuf;

use stillpath::diag::{self, Diagnostics};
use stillpath::script::{self, Refused, Request, Script};

/// A folder with scripts in it.
struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn with(self, name: &str, text: impl AsRef<[u8]>) -> Self {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
        self
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn run(&self, settings: &[(&str, &str)]) -> Result<Script, Refused> {
        let settings = settings.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        let (user_moves, user_purposes) = (Some(self.path("own")), Some(self.path("deliveries.toml")));
        script::run(&Request { path: self.path("main.lua"), settings, user_moves, user_purposes })
    }
}

fn run(text: &str) -> Result<Script, Refused> {
    Folder::new().with("main.lua", text).run(&[])
}

/// The mistakes as `line: message`.
fn mistakes(outcome: &Result<Script, Refused>) -> Vec<String> {
    let Err(refused) = outcome else { return Vec::new() };
    lines(&refused.diagnostics)
}

fn lines(diagnostics: &Diagnostics) -> Vec<String> {
    let line =
        |diagnostic: &diag::Diagnostic| diagnostic.place.as_ref().map_or("-".into(), |place| place.line.to_string());
    diagnostics.0.iter().map(|diagnostic| format!("{}: {}", line(diagnostic), diagnostic.message)).collect()
}

/// What a script needs around what a test is about.
fn shot(fields: &str) -> String {
    format!(
        "return shot {{ source = stills {{ 'stills' }}, pace = stills_per_frame(1),\n{fields}\ndeliveries = {{ delivery {{ 'wide', frame = {{ 1920, 1080 }} }} }} }}"
    )
}

#[path = "script/advice.rs"]
mod advice;
#[path = "script/fence.rs"]
mod fence;
#[path = "script/limits.rs"]
mod limits;
#[path = "script/mistakes.rs"]
mod mistakes_in_scripts;
#[path = "script/plain.rs"]
mod plain;
#[path = "script/types.rs"]
mod types;
