//! Moments as the book writes them: UTC, always 24 characters, so that text order is time order.

use std::borrow::Cow;
use std::str::FromStr;

use serde::{Deserialize, Deserializer};
use sqlx::encode::IsNull;
use sqlx::error::BoxDynError;
use sqlx::sqlite::{SqliteArgumentsBuffer, SqliteTypeInfo, SqliteValueRef};
use sqlx::{Decode, Encode, Sqlite, Type};
use time::format_description::BorrowedFormatItem;
use time::format_description::well_known::Rfc3339;
use time::macros::format_description;
use time::{OffsetDateTime, UtcOffset};

const FORM: &[BorrowedFormatItem<'_>] =
    format_description!("[year]-[month]-[day]T[hour]:[minute]:[second].[subsecond digits:3]Z");

/// A moment, to the millisecond: `2026-11-25T14:03:07.123Z`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Stamp(pub(super) OffsetDateTime);

impl Stamp {
    /// The text of a moment.
    pub(super) fn text(self) -> Result<String, time::error::Format> {
        self.0.to_offset(UtcOffset::UTC).format(FORM)
    }
}

impl Type<Sqlite> for Stamp {
    fn type_info() -> SqliteTypeInfo {
        <String as Type<Sqlite>>::type_info()
    }

    fn compatible(info: &SqliteTypeInfo) -> bool {
        <String as Type<Sqlite>>::compatible(info)
    }
}

impl Encode<'_, Sqlite> for Stamp {
    fn encode_by_ref(&self, buffer: &mut SqliteArgumentsBuffer) -> Result<IsNull, BoxDynError> {
        <String as Encode<'_, Sqlite>>::encode(self.text()?, buffer)
    }
}

impl FromStr for Stamp {
    type Err = time::error::Parse;
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        // Every moment of the form is one of RFC 3339, which is read several times faster.
        Ok(Self(OffsetDateTime::parse(text, &Rfc3339)?))
    }
}

impl Decode<'_, Sqlite> for Stamp {
    fn decode(value: SqliteValueRef<'_>) -> Result<Self, BoxDynError> {
        Ok(<&str as Decode<'_, Sqlite>>::decode(value)?.parse()?)
    }
}

impl<'de> Deserialize<'de> for Stamp {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text: Cow<'_, str> = Deserialize::deserialize(from)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    #[test]
    fn text_order_is_time_order() {
        let moments = [
            datetime!(2026-11-25 14:03:07 UTC),
            datetime!(2026-11-25 14:03:07.1 UTC),
            datetime!(2026-11-25 14:03:07.123456 UTC),
            datetime!(2026-11-25 20:03:08 +06:00),
            datetime!(2026-11-25 14:03:09 UTC),
        ];
        let texts = moments.map(|moment| Stamp(moment).text().unwrap_or_default());
        assert_eq!(texts[1], "2026-11-25T14:03:07.100Z");
        assert_eq!(texts[3], "2026-11-25T14:03:08.000Z");
        assert!(texts.is_sorted() && texts.iter().all(|text| text.len() == 24), "{texts:?}");
    }
}
