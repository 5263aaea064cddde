//! The columns of a table of windows: which there are, and which of them a table's first line names.

use super::wrong::Wrong;

/// A column that is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Column {
    Delivery,
    Frame,
    Seconds,
    Still,
    Left,
    Top,
    CentreX,
    CentreY,
    Width,
    Height,
    Zoom,
    Span,
    Roll,
    Ease,
    Hold,
    Weight,
}

/// Names in a first line; `x` and `y` are what `plan --csv` calls the left and the top edge.
const READ: [(&str, Column); 18] = [
    ("delivery", Column::Delivery),
    ("frame", Column::Frame),
    ("seconds", Column::Seconds),
    ("still", Column::Still),
    ("left", Column::Left),
    ("x", Column::Left),
    ("top", Column::Top),
    ("y", Column::Top),
    ("centre_x", Column::CentreX),
    ("centre_y", Column::CentreY),
    ("width", Column::Width),
    ("height", Column::Height),
    ("zoom", Column::Zoom),
    ("span", Column::Span),
    ("roll", Column::Roll),
    ("ease", Column::Ease),
    ("hold", Column::Hold),
    ("weight", Column::Weight),
];

/// What else `plan --csv` writes: it says nothing of where the window goes.
const PASSED_OVER: [&str; 14] = [
    "shot",
    "position",
    "turn",
    "name",
    "captured",
    "stand_in",
    "made_as",
    "still_x",
    "still_y",
    "still_width",
    "still_height",
    "still_roll",
    "frame_width",
    "frame_height",
];

/// The help of whatever is wrong with a first line.
const FIRST_LINE: &str = "the first line names the columns: frame,x,y,width,height for every frame, or seconds,centre_x,centre_y,zoom for keys";

/// Where each column stands in a line.
pub(super) struct Columns {
    places: Vec<(Column, usize)>,
    /// How many fields a line has.
    pub(super) count: usize,
}

impl Columns {
    /// The columns that the fields of a first line name.
    pub(super) fn of(fields: &[&str]) -> Result<Self, Wrong> {
        let wrong = |what: String| Wrong::new(1, what);
        if let [one] = fields
            && [';', '\t'].iter().any(|mark| one.contains(*mark))
        {
            let mark = if one.contains(';') { "semicolons" } else { "tabs" };
            return Err(wrong(format!("fields are separated by commas; seen {mark}")).help(FIRST_LINE));
        }
        if fields.iter().all(|field| field.parse::<f64>().is_ok()) {
            return Err(wrong("it has no line of column names".into()).help(FIRST_LINE));
        }
        let mut places: Vec<(Column, usize)> = Vec::new();
        for (place, field) in fields.iter().enumerate() {
            if PASSED_OVER.contains(field) {
                continue;
            }
            let Some((name, column)) = READ.iter().find(|(name, _)| name == field) else {
                let what = if field.is_empty() {
                    format!("column {} has no name", place + 1)
                } else {
                    format!("there is no column '{field}'")
                };
                let near = crate::diag::nearest(field, &READ.map(|(name, _)| name));
                return Err(match near {
                    Some(near) => wrong(what).help(format!("did you mean '{near}'?")),
                    None => wrong(what).help(FIRST_LINE),
                });
            };
            if places.iter().any(|(known, _)| known == column) {
                return Err(wrong(format!("column '{name}' says again what another one says"))
                    .help("leave one of the two columns out"));
            }
            places.push((*column, place));
        }
        let columns = Self { places, count: fields.len() };
        columns.check().map(|()| columns)
    }

    /// Whether a column is there.
    pub(super) fn has(&self, column: Column) -> bool {
        self.place(column).is_some()
    }

    /// Where a column stands.
    pub(super) fn place(&self, column: Column) -> Option<usize> {
        self.places.iter().find(|(known, _)| *known == column).map(|(_, place)| *place)
    }

    fn check(&self) -> Result<(), Wrong> {
        let wrong = |what: &str| Err(Wrong::new(1, what.into()).help(FIRST_LINE));
        let has = |column| self.has(column);
        if ![Column::Frame, Column::Seconds, Column::Still].into_iter().any(has) {
            return wrong("no column says when: frame, seconds or still");
        }
        let corner = has(Column::Left) || has(Column::Top);
        let centre = has(Column::CentreX) || has(Column::CentreY);
        if corner && centre {
            return wrong("a window is placed by its left top corner or by its centre, not by both");
        }
        if !corner && !centre {
            return wrong("no column says where: x and y (or left and top), or centre_x and centre_y");
        }
        if corner && !(has(Column::Left) && has(Column::Top) && has(Column::Width) && has(Column::Height)) {
            return wrong("a window by its left top corner has all of x, y, width and height");
        }
        if centre && !(has(Column::CentreX) && has(Column::CentreY)) {
            return wrong("a window by its centre has both centre_x and centre_y");
        }
        let widths = [Column::Width, Column::Zoom, Column::Span].into_iter().filter(|column| has(*column)).count();
        if widths != 1 {
            return wrong("one column says how close: width, zoom or span");
        }
        if has(Column::Height) && !has(Column::Width) {
            return wrong("a column height goes with a column width");
        }
        if has(Column::Frame) && (has(Column::Ease) || has(Column::Hold)) {
            return wrong("ease and hold belong to keys: a table of every frame has nothing between its lines");
        }
        Ok(())
    }
}
