//! A row as JSON states it.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Serialize, Serializer};

use super::gathered::GatheredSpan;
use super::{Layers, Row, Share};
use crate::geom::Window;
use crate::units::SlotIndex;

/// One frame.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "Row")]
pub(super) struct Stated<'a> {
    /// Where the shoot stands, in stills along the axis.
    position: f64,
    /// The slot whose turn it is.
    slot: SlotIndex,
    /// The slot whose still stands there: `slot`, or the one held in its place.
    shown: SlotIndex,
    /// The still that stands there should decoding `shown` reveal damage; none where the policy is not `hold` or there
    /// is none.
    stand_in: Option<SlotIndex>,
    /// What fills the frame, over the first view where stills are steadied; inside the still, always.
    window: Window,
    /// The stills whose mean the frame is, or between which it is invented, in the order the shoot passes them, at
    /// least two; left out where `shown` fills it alone.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    blend: Vec<Share>,
    /// The stills of which the frame takes the brightest, the darkest or the median light, by channel; left out where it
    /// gathers none.
    #[serde(skip_serializing_if = "Option::is_none")]
    gathered: Option<GatheredSpan>,
    /// Whether the frame is invented: not the mean of its two stills but what was between them, by the motion of what
    /// both show, at the moment that the second one's weight is of the way.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    invented: bool,
    /// What the frame is made of, with all that is done to it: what the above, `level`, `steady` and `covers` come to.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Layers")]
    layers: Option<&'a Layers>,
}

impl<'a> Stated<'a> {
    /// All but the layers, which follow from the rest of the plan.
    pub(super) fn without_layers(row: &Row) -> Self {
        let Row { position, slot, shown, stand_in, window, ref layers } = *row;
        let gathered = layers.gathered().map(GatheredSpan::from);
        let several = layers.are_several() && gathered.is_none();
        let blend = if several { layers.shares().collect() } else { Vec::new() };
        let invented = layers.are_invented();
        Self { position, slot, shown, stand_in, window, blend, gathered, invented, layers: None }
    }

    fn whole(row: &'a Row) -> Self {
        Self { layers: Some(&row.layers), ..Self::without_layers(row) }
    }
}

impl Serialize for Row {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        Stated::whole(self).serialize(serializer)
    }
}

impl JsonSchema for Row {
    fn schema_name() -> Cow<'static, str> {
        Stated::schema_name()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let mut schema = Stated::json_schema(generator);
        // A row of a plan always has them.
        if let Some(required) = schema.get_mut("required").and_then(serde_json::Value::as_array_mut) {
            required.push("layers".into());
        }
        schema
    }
}
