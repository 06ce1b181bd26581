//! What can go wrong while results become bytes.

use thiserror::Error;

/// Why a picture, a table or a page could not be made.
#[derive(Debug, Error)]
pub enum RenderError {
    #[error("could not draw \"{picture}\": {width} by {height} pixels is not a size that can be drawn")]
    PictureSize { picture: String, width: f64, height: f64 },
    #[error("could not draw text: the built-in font is damaged; build the program again")]
    Font,
    #[error("could not encode the picture \"{picture}\" as PNG: {cause}")]
    Png { picture: String, cause: String },
    #[error("could not write the table of readings: {0}")]
    Csv(#[from] csv::Error),
    #[cfg(feature = "parquet")]
    #[error("could not write readings.parquet: {0}")]
    Parquet(#[from] parquet::errors::ParquetError),
    #[error("the readings of {scan} hold '{found}' in the column {column}; measure the scan again")]
    BadCell { scan: String, column: String, found: String },
    #[error("could not write the record: {0}")]
    Json(#[from] serde_json::Error),
    #[error("could not draw seam \"{seam}\": the plan has no seam of that name")]
    UnknownSeam { seam: String },
    #[error("could not draw the section at station {station} of seam \"{seam}\": it has no such station")]
    UnknownStation { seam: String, station: usize },
}
