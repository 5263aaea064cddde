//! What is published for editors, readers and other programs is what the program goes by.

use std::fs;
use std::path::PathBuf;

use serde_json::{Value, json};

use crate::common::Bench;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn fresh(file: &str, arguments: &[&str]) {
    let made = Bench::new(0).run(arguments).expect(0).out;
    let published = fs::read_to_string(root().join(file)).unwrap_or_default();
    assert!(published == made, "{file} is stale: `sh scripts/publish` makes it again");
}

#[test]
fn the_editor_types_are_fresh() {
    fresh("scripts/types/stillpath.lua", &["types"]);
}

#[test]
fn the_reference_page_is_fresh() {
    fresh("scripts/REFERENCE.md", &["types", "--reference"]);
}

#[test]
fn the_schema_of_plans_is_fresh() {
    fresh("scripts/plan.schema.json", &["types", "--plan-schema"]);
}

#[test]
fn the_schema_of_receipts_is_fresh() {
    fresh("scripts/receipt.schema.json", &["types", "--receipt-schema"]);
}

#[test]
fn the_editors_settings_name_the_folder_the_types_are_in() {
    let settings: Value = serde_json::from_str(&fs::read_to_string(root().join(".luarc.json")).unwrap()).unwrap();
    let folder = settings["workspace.library"][0].as_str().unwrap();
    assert!(root().join(folder).join("stillpath.lua").exists(), "{settings}");
}

/// The schema with nothing allowed that it does not name, so that a field it forgot is found.
fn closed(schema: &Value) -> Value {
    match schema {
        Value::Object(fields) => {
            let mut fields: serde_json::Map<_, _> =
                fields.iter().map(|(name, value)| (name.clone(), closed(value))).collect();
            if fields.get("type") == Some(&json!("object")) && fields.contains_key("properties") {
                fields.insert("additionalProperties".into(), json!(false));
            }
            Value::Object(fields)
        }
        Value::Array(items) => Value::Array(items.iter().map(closed).collect()),
        other => other.clone(),
    }
}

fn validator() -> jsonschema::Validator {
    let schema: Value =
        serde_json::from_str(&fs::read_to_string(root().join("scripts/plan.schema.json")).unwrap()).unwrap();
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    jsonschema::draft202012::new(&closed(&schema)).unwrap()
}

/// A plan with as much in it as a small shoot gives: two shots, both codecs, stills missing and damaged, a remark.
fn plan() -> Value {
    let bench = Bench::new(9);
    fs::remove_file(bench.still(4)).unwrap();
    fs::write(bench.still(6), b"").unwrap();
    bench.script(
        r#"local source = stills { "stills", missing = "hold", damaged = "skip" }
local function cut(name, more)
  return shot { name = name, source = source, fps = 24, pace = stills_per_frame(1),
    framing = framing { key { at = 0, on = point(0.9, 0.9), zoom = 1.1 } }, deliveries = more }
end
return {
  cut("one", { delivery { "a", frame = { 64, 36 }, fps = "30000/1001" }, delivery { "b", frame = { 36, 64 }, codec = "png" } }),
  cut("two", { delivery { "c", frame = { 48, 48 }, quality = { crf = 20, tune = "grain" }, sharpness = "full" },
    delivery { "d", frame = { 48, 48 }, gather = { "median", stills = 3 } } }),
}"#,
    );
    bench.run(&["plan", "move.lua", "--json"]).expect(0).json()
}

#[test]
fn real_plans_are_what_the_schema_says() {
    let (validator, plan) = (validator(), plan());
    let faults: Vec<String> =
        validator.iter_errors(&plan).map(|fault| format!("{}: {fault}", fault.instance_path())).collect();
    assert!(faults.is_empty(), "{faults:#?}");
    assert_eq!(plan["plans"].as_array().unwrap().len(), 2);
    assert!(
        !plan["plans"][0]["remarks"].as_array().unwrap().is_empty()
            && !plan["plans"][0]["tally"]["missing"].as_array().unwrap().is_empty()
    );
}

#[test]
fn the_schema_refuses_what_is_no_plan() {
    let (validator, plan) = (validator(), plan());
    let broken = |change: &dyn Fn(&mut Value)| {
        let mut plan = plan.clone();
        change(&mut plan["plans"][0]);
        !validator.is_valid(&plan)
    };
    assert!(!broken(&|_| ()));
    assert!(broken(&|plan| plan["deliveries"][0]["rows"][0]["window"]["x"] = json!("left")));
    assert!(broken(&|plan| plan["deliveries"][0]["rows"][0]["slot"] = json!(-1)));
    assert!(broken(&|plan| plan["deliveries"][0]["sharpness"] = json!("dull")));
    assert!(broken(&|plan| drop(plan["deliveries"][0].as_object_mut().unwrap().remove("rows"))));
    assert!(broken(&|plan| drop(plan["deliveries"][0]["rows"][0].as_object_mut().unwrap().remove("stand_in"))));
    assert!(broken(&|plan| plan["invented"] = json!(1)));
}
