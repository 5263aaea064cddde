//! `dials`: what a script lets its user set.

use std::path::Path;

use serde_json::json;

use super::running::run;
use super::{Failure, Reply, pretty};
use crate::script::Dial;

/// Lists the dials of a script, with what `settings` set.
///
/// # Errors
/// [`Failure`] with every mistake of the script: no shoot is looked at.
pub fn dials(script: &Path, settings: &[(String, String)], json: bool) -> Result<Reply, Failure> {
    let ran = run(script, settings)?;
    let text = if json { pretty(&json!({ "dials": ran.dials })) } else { listed(&ran.dials) };
    let closing = ran.dials.is_empty().then(|| "stillpath: the script declares no dials".to_owned());
    Ok(Reply { text, messages: ran.messages, notes: ran.remarks, closing })
}

/// A line a dial: how it is set, what it may be, what it does.
fn listed(dials: &[Dial]) -> String {
    let set = |dial: &Dial| format!("--set {}={}", dial.name, dial.value);
    let allowed = |dial: &Dial| match dial.value == dial.default {
        true => dial.allowed.clone(),
        false => format!("{}, default {}", dial.allowed, dial.default),
    };
    let widest =
        |words: &dyn Fn(&Dial) -> String| dials.iter().map(|dial| words(dial).chars().count()).max().unwrap_or(0);
    let (first, second) = (widest(&set), widest(&allowed));
    let line = |dial: &Dial| {
        crate::diag::fit(format!("{:first$}  {:second$}  {}", set(dial), allowed(dial), dial.help).trim_end())
            .into_owned()
            + "\n"
    };
    dials.iter().map(line).collect()
}
