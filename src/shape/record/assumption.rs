//! What is assumed where the text of the standard could not be confirmed. One table; each line can be switched for a
//! device that does otherwise.

use std::time::Duration;

use thiserror::Error;

/// One line of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Assumption {
    /// Its name, as it is switched.
    pub key: &'static str,
    /// What it is about.
    pub says: &'static str,
    /// The choices, each with what it means; the first is assumed.
    pub choices: &'static [(&'static str, &'static str)],
}

/// Declares the kinds of choices, the table and the settings from one list.
macro_rules! assumptions {
    ($($field:ident: $kind:ident, $says:literal {
        $first:ident = $first_key:literal $first_means:literal, $($choice:ident = $key:literal $means:literal,)*
    })*) => {
        $(
            #[doc = $says]
            #[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
            pub enum $kind {
                #[doc = $first_means]
                #[default]
                $first,
                $(#[doc = $means] $choice,)*
            }
        )*

        /// The assumptions for one device.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
        pub struct Assumptions {
            $(#[doc = $says] pub $field: $kind,)*
        }

        /// Every assumption.
        pub const TABLE: &[Assumption] = &[$(Assumption {
            key: stringify!($field),
            says: $says,
            choices: &[($first_key, $first_means), $(($key, $means),)*],
        },)*];

        impl Assumptions {
            /// Switches one assumption.
            ///
            /// # Errors
            ///
            /// [`AssumptionError`] for a name or a choice that is not in [`TABLE`].
            pub fn switch(&mut self, key: &str, choice: &str) -> Result<(), AssumptionError> {
                match key {
                    $(stringify!($field) => self.$field = match choice {
                        $first_key => $kind::$first,
                        $($key => $kind::$choice,)*
                        _ => return Err(AssumptionError::choice(key, choice)),
                    },)*
                    _ => return Err(AssumptionError::Key(key.to_owned())),
                }
                Ok(())
            }
        }
    };
}

assumptions! {
    byte_order: ByteOrder, "The order of the two bytes of a number in a binary trace" {
        Either = "either" "whichever gives a lens of the stated size, smooth and like the other one; low byte first when written",
        LowFirst = "low_first" "low byte first",
        HighFirst = "high_first" "high byte first",
    }
    escape: Escape, "Whether control bytes in a binary trace are sent as ESC and the byte with its high bit set" {
        Either = "either" "whichever gives the stated count; escaped when written",
        Escaped = "escaped" "escaped, CR and LF too",
        Plain = "plain" "not escaped",
    }
    nibbles: Nibbles, "The order of the two halves of a byte in a packed trace (form 4)" {
        HighFirst = "high_first" "high half first",
        LowFirst = "low_first" "low half first",
    }
    first_radius: FirstRadius, "Where the first radius points, in the front view" {
        Right = "right" "to the observer's right (3 o'clock)",
        Top = "top" "up",
        Left = "left" "to the observer's left",
        Bottom = "bottom" "down",
    }
    direction: Direction, "Which way the radii run, in the front view" {
        CounterClockwise = "counter_clockwise" "counter-clockwise",
        Clockwise = "clockwise" "clockwise",
    }
    checksum: Checksum, "The 16-bit checksum of a message (CRC record)" {
        Any = "any" "polynomial 1021 with any usual start value and bit order; a message that agrees with none is refused",
        StartOnes = "start_ones" "polynomial 1021, start value FFFF, high bit first",
        StartZeros = "start_zeros" "polynomial 1021, start value 0, high bit first",
        Unchecked = "unchecked" "not compared",
    }
    depth: BrokenDepth, "Depth records (Z) that do not fit their ZFMT record" {
        Refused = "refused" "the file is refused: it may be cut off",
        LeftOut = "left_out" "the shape is read without them",
    }
    drill_x: DrillX, "Which way the x of a drill record (DRILL, DRILLE) runs from the boxing center" {
        Nose = "nose" "toward the nose",
        Right = "right" "to the observer's right; a record for both eyes is that of the right one",
    }
    acknowledgment: Acknowledgment, "Whether each message on a wire is confirmed with ACK or NAK before it is answered" {
        Sent = "sent" "confirmed, and our answers are confirmed by the device",
        NotSent = "not_sent" "not confirmed, on either side",
    }
    sent_checksum: SentChecksum, "Whether our answers on a wire have a checksum" {
        AsReceived = "as_received" "where the message that they answer had one",
        Always = "always" "always",
        Never = "never" "never",
    }
    refusal: Refusal, "How a request that cannot be met is answered, where the job is not the reason" {
        Numbered = "numbered" "STATUS=2 and a sentence",
        AsUnknown = "as_unknown" "STATUS=1 and a sentence, as for a job that is not on file",
    }
    other_eye: OtherEye, "How soon after one eye the other one, in a message of its own, makes one shape with it" {
        FiveMinutes = "5_minutes" "within five minutes",
        OneMinute = "1_minute" "within one minute",
        HalfAnHour = "30_minutes" "within half an hour",
        Never = "never" "never: the device traces one eye, and the other one is its mirror image",
    }
    center_point: CenterPoint, "Which point IPD and OCHT place for a blocker or edger, where prism is prescribed" {
        Reference = "reference" "where the lensmeter reads power and prism, as on the ticket; PRVM and PRVA say the prism",
        Optical = "optical" "the optical center, moved for the prism; PRVM and PRVA are not sent",
    }
    sent_holes: SentHoles, "Whether a blocker or edger gets the holes of a drilled mount" {
        Sent = "sent" "as the record of drill_label",
        NotSent = "not_sent" "not at all",
    }
    edge_finish: SentFinish, "Whether a device is told POLISH and GDEPTH" {
        Sent = "sent" "polish for a grooved or drilled lens, and the depth of the groove",
        NotSent = "not_sent" "neither: they are set at the device",
    }
    wanted_records: WantedRecords, "Which records a device gets that says in DEF and D records which ones it wants" {
        All = "all" "all of them: it leaves out what it does not know",
        Defined = "defined" "those that it wants",
    }
    bare_trace: BareTrace, "What a request for a trace (REQ=TRC) without radii is" {
        Permission = "permission" "the tracer asks whether the job is known, and sends the radii next",
        Shape = "shape" "the device asks for the shape on file",
    }
    drill_origin: DrillOrigin, "Where the place of a hole is measured from" {
        Box = "box" "the middle of the box",
        Trace = "trace" "the center that the radii are measured from",
    }
    drill_unit: DrillUnit, "The unit of the places and diameters of holes" {
        Millimeters = "mm" "millimeters, with decimals",
        Hundredths = "hundredths" "hundredths of a millimeter, as in a trace",
    }
    drill_fields: DrillFields, "The order of the fields of a drill record after its side and reference" {
        PlaceSizeEnd = "place_size_end" "x, y, diameter, then x and y of the other end of a slot",
        PlaceEndSize = "place_end_size" "x, y, then x and y of the other end of a slot, diameter",
    }
    drill_reference: DrillReference, "The second field of a DRILLE record, what the hole is measured from" {
        Center = "center" "C or nothing is the place of drill_origin; a hole measured from elsewhere is left out, and told",
        Any = "any" "whatever it says, the place of drill_origin",
        Absent = "absent" "there is no such field",
    }
    drill_label: DrillLabel, "The record that holes are written in; both are read" {
        Drille = "drille" "DRILLE",
        Drill = "drill" "DRILL",
    }
}

impl ByteOrder {
    /// The other order.
    pub(super) fn other(self) -> Self {
        if self == ByteOrder::LowFirst { ByteOrder::HighFirst } else { ByteOrder::LowFirst }
    }

    /// Which byte is first, in words.
    pub(super) fn first(self) -> &'static str {
        if self == ByteOrder::HighFirst { "high" } else { "low" }
    }
}

impl OtherEye {
    /// The longest time between the two eyes; `None` where they never belong together.
    pub fn within(self) -> Option<Duration> {
        let minutes = match self {
            OtherEye::FiveMinutes => 5,
            OtherEye::OneMinute => 1,
            OtherEye::HalfAnHour => 30,
            OtherEye::Never => return None,
        };
        Some(Duration::from_secs(minutes * 60))
    }
}

/// An assumption that cannot be switched so.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum AssumptionError {
    /// There is no such line in the table.
    #[error("there is no assumption “{0}”")]
    Key(String),
    /// The line has no such choice.
    #[error("“{choice}” is not a choice of {key}; {known} was expected")]
    Choice {
        /// The line.
        key: String,
        /// What was asked for.
        choice: String,
        /// What it may be.
        known: String,
    },
}

impl AssumptionError {
    fn choice(key: &str, choice: &str) -> Self {
        let choices = TABLE.iter().find(|line| line.key == key).map_or(&[][..], |line| line.choices);
        let known = choices.iter().map(|choice| choice.0).collect::<Vec<_>>().join(", ");
        Self::Choice { key: key.to_owned(), choice: choice.to_owned(), known }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_choice_of_the_table_can_be_switched() {
        for line in TABLE {
            let mut seen = Vec::new();
            for (choice, _) in line.choices {
                let mut assumptions = Assumptions::default();
                assumptions.switch(line.key, choice).unwrap();
                assert!(!seen.contains(&assumptions), "{} = {choice} is another choice's", line.key);
                seen.push(assumptions);
            }
            assert_eq!(seen[0], Assumptions::default(), "{}: the first choice is assumed", line.key);
        }
        let mut assumptions = Assumptions::default();
        let unknown = assumptions.switch("bytes", "x").unwrap_err();
        assert_eq!(unknown.to_string(), "there is no assumption “bytes”");
        let wrong = assumptions.switch("direction", "up").unwrap_err();
        assert_eq!(wrong.to_string(), "“up” is not a choice of direction; counter_clockwise, clockwise was expected");
    }
}
