//! The open standards as data: what is in `maps/`, read once when the program starts.

use crate::layout::{Blank, Channel, CompiledMap, Field, Form, Key, MapBuilder, MessageSpec, Place, Places, When};
use crate::model::snapshot::Origin;
use crate::model::{Dialect, MAX_CELLS, Quantity, Slot};
use serde::Deserialize;
use std::sync::{Arc, LazyLock};

/// Whose number the data names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Of {
    /// A DC source of RV-C, with the priority of its sender in byte 1.
    Source,
    /// A battery of RV-C, with the DC source it belongs to in byte 1.
    Battery,
    /// A battery of RV-C, with module and cell in bytes 1 and 2.
    Cell,
    /// A battery of IEC 61162-3.
    Instance,
}

/// What several fields of one quantity in one message mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Join {
    /// One of them set is enough.
    Any,
    /// Their product.
    Product,
}

/// A part that a message plays beside its values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Part {
    /// Tells in byte 4 how many cells a module has.
    Modules,
    /// Is about one cell of a module.
    Cell,
}

/// What is known of a message beside its layout.
#[derive(Debug, Clone)]
pub(super) struct Group {
    /// Its parameter group.
    pub(super) group: u32,
    /// Whose number it names.
    pub(super) of: Of,
    /// It comes in several frames.
    pub(super) fast: bool,
    /// The standard sends it only when a device asks.
    pub(super) asked: bool,
    /// Which of two messages of a sender is the better one for the same value.
    pub(super) rank: u8,
    pub(super) join: Option<Join>,
    pub(super) part: Option<Part>,
    /// What a frame must carry to show that its bus speaks this standard; empty: it shows nothing.
    evidence: Vec<When>,
}

/// An open standard.
#[derive(Debug)]
pub(super) struct Standard {
    pub(super) map: CompiledMap<Slot>,
    /// Where its values come from.
    pub(super) origins: Arc<[Origin]>,
    groups: Vec<Group>,
    /// It does not say which sign a charging current has.
    pub(super) sign_open: bool,
}

impl Standard {
    /// The standard of a dialect; none for those that are no standards.
    pub(super) fn of(dialect: Dialect) -> Option<&'static Self> {
        static RV_C: LazyLock<Standard> = LazyLock::new(|| built_in(include_str!("maps/rv-c.toml")));
        static MARINE: LazyLock<Standard> = LazyLock::new(|| built_in(include_str!("maps/iec-61162-3.toml")));
        match dialect {
            Dialect::RvC => Some(&RV_C),
            Dialect::Marine => Some(&MARINE),
            Dialect::Own | Dialect::File => None,
        }
    }

    /// What is known of a message.
    pub(super) fn group(&self, message: usize) -> Option<&Group> {
        self.groups.get(message)
    }

    /// Whether a frame of a message shows that its bus speaks this standard.
    pub(super) fn shows(&self, message: usize, data: &[u8]) -> bool {
        let evidence = self.groups.get(message).map_or(&[][..], |group| &group.evidence);
        data.len() == 8 && !evidence.is_empty() && evidence.iter().all(|when| when.holds(data))
    }
}

/// A map that comes with the program; that it can be read, a test shows.
fn built_in(text: &str) -> Standard {
    let read = read(text);
    debug_assert!(read.is_ok(), "{read:?}");
    read.unwrap_or_else(|_| Standard {
        map: MapBuilder::default().compile(),
        origins: Arc::new([]),
        groups: Vec::new(),
        sign_open: false,
    })
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MapText {
    #[serde(rename = "name")]
    _name: String,
    #[serde(rename = "source")]
    _source: String,
    #[serde(default)]
    sign_open: bool,
    message: Vec<MessageText>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MessageText {
    group: u32,
    name: String,
    of: Of,
    /// Byte of the number.
    #[serde(default)]
    byte: u16,
    #[serde(default)]
    fast: bool,
    #[serde(default)]
    asked: bool,
    #[serde(default)]
    rank: u8,
    join: Option<Join>,
    part: Option<Part>,
    #[serde(default)]
    fields: Vec<FieldText>,
    #[serde(default)]
    evidence: Vec<WhenText>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FieldText {
    quantity: String,
    #[serde(default)]
    index: u8,
    bits: Option<(u16, u8)>,
    #[serde(default)]
    signed: bool,
    scale: Option<f64>,
    #[serde(default)]
    offset: f64,
    #[serde(default)]
    blank: u8,
    /// Not a field: this number, whatever the data.
    constant: Option<f64>,
    /// Whatever stands there is no number.
    #[serde(default)]
    invalid: bool,
    when: Option<WhenText>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct WhenText {
    bits: (u16, u8),
    any_of: Vec<(u64, u64)>,
}

fn read(text: &str) -> Result<Standard, String> {
    let MapText { message: messages, sign_open, .. } = toml::from_str(text).map_err(|e| e.to_string())?;
    let (mut builder, mut groups) = (MapBuilder::default(), Vec::new());
    for message in messages {
        let channels = message.fields.iter().map(|field| field.channel(message.byte)).collect::<Result<_, _>>()?;
        let key = Key::Group(message.group);
        let spec = MessageSpec { key, name: message.name, places: places(message.of, message.byte), channels };
        builder.message(spec).map_err(|e| e.to_string())?;
        groups.push(Group {
            group: message.group,
            of: message.of,
            fast: message.fast,
            asked: message.asked,
            rank: message.rank,
            join: message.join,
            part: message.part,
            evidence: message.evidence.into_iter().map(WhenText::when).collect(),
        });
    }
    let map = builder.compile();
    let origins = super::origins::of_standard(&map, &groups);
    Ok(Standard { origins, map, groups, sign_open })
}

/// Where the data names battery and cell: 1 to 250 in RV-C (0 is none), 0 to 252 in IEC 61162-3.
fn places(of: Of, byte: u16) -> Places {
    let place = |byte: u16, first, count| Some(Place { field: Field::plain(byte * 8, 8), first, count });
    match of {
        Of::Source | Of::Battery => Places { pack: place(byte, 1, 250), index: None },
        Of::Cell => Places { pack: place(byte, 1, 250), index: place(2, 1, MAX_CELLS as u8) },
        Of::Instance => Places { pack: place(byte, 0, 253), index: None },
    }
}

impl FieldText {
    fn channel(&self, byte: u16) -> Result<Channel<Slot>, String> {
        let known = Quantity::ALL.iter().find(|quantity| quantity.name() == self.quantity);
        let quantity = *known.ok_or_else(|| format!("no quantity is called {}", self.quantity))?;
        let field = match (self.constant, self.bits) {
            // The number of the battery, times nothing.
            (Some(number), _) => Field { scale: 0.0, offset: number, ..Field::plain(byte * 8, 8) },
            (None, Some((start, len))) => Field {
                form: if self.signed { Form::Signed } else { Form::Unsigned },
                scale: self.scale.unwrap_or(1.0),
                offset: self.offset,
                blank: [Blank::None, Blank::None, Blank::Two, Blank::Three][usize::from(self.blank.min(3))],
                ..Field::plain(start, len)
            },
            (None, None) => return Err(format!("{} has no bits", self.quantity)),
        };
        let codes = self.invalid.then(|| [].as_slice().into());
        let when = self.when.as_ref().map(|when| vec![when.clone_when()]).unwrap_or_default();
        Ok(Channel { target: Slot::at(0, quantity, self.index), field, codes, when })
    }
}

impl WhenText {
    fn when(self) -> When {
        When { field: Field::plain(self.bits.0, self.bits.1), any_of: self.any_of }
    }

    fn clone_when(&self) -> When {
        When { field: Field::plain(self.bits.0, self.bits.1), any_of: self.any_of.clone() }
    }
}
