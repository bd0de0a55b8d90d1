//! The named ids as values of SQLite: each is bound and read as the plain value inside it.

use sqlx::encode::IsNull;
use sqlx::error::BoxDynError;
use sqlx::sqlite::{SqliteArgumentsBuffer, SqliteTypeInfo, SqliteValueRef};
use sqlx::{Decode, Encode, Sqlite, Type};
use uuid::Uuid;

use crate::desk::id::{
    AttachmentId, CustomerId, DrawerLensId, FrameId, MaterialId, MaterialVersionId, ShapeId, SupplierId, TreatmentId,
    TreatmentVersionId,
};

macro_rules! column {
    ($($name:ident($inner:ty);)+) => {$(
        impl Type<Sqlite> for $name {
            fn type_info() -> SqliteTypeInfo {
                <$inner as Type<Sqlite>>::type_info()
            }

            fn compatible(info: &SqliteTypeInfo) -> bool {
                <$inner as Type<Sqlite>>::compatible(info)
            }
        }

        impl Encode<'_, Sqlite> for $name {
            fn encode_by_ref(&self, buffer: &mut SqliteArgumentsBuffer) -> Result<IsNull, BoxDynError> {
                <$inner as Encode<'_, Sqlite>>::encode_by_ref(&self.0, buffer)
            }
        }

        impl Decode<'_, Sqlite> for $name {
            fn decode(value: SqliteValueRef<'_>) -> Result<Self, BoxDynError> {
                <$inner as Decode<'_, Sqlite>>::decode(value).map(Self)
            }
        }
    )+};
}

column! {
    CustomerId(Uuid);
    FrameId(Uuid);
    MaterialId(Uuid);
    MaterialVersionId(Uuid);
    TreatmentId(Uuid);
    TreatmentVersionId(Uuid);
    ShapeId(Uuid);
    DrawerLensId(Uuid);
    SupplierId(Uuid);
    AttachmentId(Uuid);
}
