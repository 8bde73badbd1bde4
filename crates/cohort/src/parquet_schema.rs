//! Parquet files: columns, properties and errors that packs and index share.

use crate::error::CohortError;
use crate::folder::made_by;
use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties, WriterPropertiesBuilder};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{Type, TypePtr};
use pulsewright_files::atomic::{FileError, FinishedPart, UnfinishedPart};
use std::io;
use std::path::Path;
use std::sync::Arc;

/// A file being written.
pub(crate) type ParquetPart = SerializedFileWriter<UnfinishedPart>;

/// A flat column.
pub(crate) fn column(
    name: &str,
    physical: Physical,
    logical: Option<LogicalType>,
    repetition: Repetition,
) -> Result<TypePtr, ParquetError> {
    let column = Type::primitive_type_builder(name, physical).with_logical_type(logical).with_repetition(repetition);
    column.build().map(Arc::new)
}

/// The schema of these columns.
pub(crate) fn schema(columns: Vec<TypePtr>) -> Result<TypePtr, ParquetError> {
    Type::group_type_builder("schema").with_fields(columns).build().map(Arc::new)
}

/// Properties of all files: this program's name, and pairs of key and value. Nothing is compressed: noise does not shrink, and every
/// reader takes plain values.
pub(crate) fn properties(pairs: &[(&str, String)]) -> WriterPropertiesBuilder {
    let pairs = pairs.iter().map(|(key, value)| KeyValue::new((*key).to_owned(), value.clone()));
    WriterProperties::builder()
        .set_created_by(made_by())
        .set_key_value_metadata(Some(pairs.collect()))
        .set_statistics_enabled(EnabledStatistics::None)
        .set_offset_index_disabled(true)
}

/// An error at a file: the system's own where it is one.
pub(crate) fn fault(path: &Path) -> impl Fn(ParquetError) -> CohortError + use<'_> {
    move |error| {
        let error = match error {
            ParquetError::External(inner) => match inner.downcast::<io::Error>() {
                Ok(system) => *system,
                Err(other) => io::Error::other(other),
            },
            other => io::Error::other(other),
        };
        FileError::of(path)(error).into()
    }
}

/// Closes a file.
pub(crate) fn finish(file: ParquetPart, path: &Path) -> Result<FinishedPart, CohortError> {
    Ok(file.into_inner().map_err(fault(path))?.finish()?)
}
