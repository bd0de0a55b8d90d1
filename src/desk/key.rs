//! The key that a choice has in the book, in forms and in receipts.

/// Gives an enum its list and its keys, from `strum`'s `EnumString`, `IntoStaticStr` and `VariantArray`.
macro_rules! keyed {
    ($type:ident) => {
        impl $type {
            /// All of them, in the order of the form.
            pub const ALL: &'static [$type] = <$type as strum::VariantArray>::VARIANTS;

            /// As written in the book and in forms.
            pub fn key(self) -> &'static str {
                self.into()
            }

            /// The value written so, if any.
            pub fn from_key(key: &str) -> Option<Self> {
                key.parse().ok()
            }
        }
    };
}

pub(crate) use keyed;

#[cfg(test)]
mod tests {
    use strum::{EnumString, IntoStaticStr, VariantArray};

    #[derive(Debug, Clone, Copy, PartialEq, EnumString, IntoStaticStr, VariantArray)]
    #[strum(serialize_all = "snake_case")]
    enum Cutting {
        Wet,
        DryThenWet,
        #[strum(serialize = "0.25")]
        Quarter,
    }

    keyed!(Cutting);

    #[test]
    fn every_key_reads_back() {
        assert_eq!(Cutting::ALL.iter().map(|c| c.key()).collect::<Vec<_>>(), ["wet", "dry_then_wet", "0.25"]);
        for &cutting in Cutting::ALL {
            assert_eq!(Cutting::from_key(cutting.key()), Some(cutting));
        }
        for key in ["", "Wet", "wet ", "quarter"] {
            assert_eq!(Cutting::from_key(key), None, "{key:?}");
        }
    }
}
