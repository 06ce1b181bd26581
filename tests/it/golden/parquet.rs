//! `readings.parquet` read back by the general reader of the format: the same as the table it was made of.

use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;

use super::made_seams::{judged, plan};
use shutline::render::{ScanReadings, readings_csv, readings_parquet};
use shutline::units::LengthUnit;

/// Rows as (column, value) in order.
fn read(bytes: Vec<u8>) -> Vec<Vec<(String, Field)>> {
    let reader = SerializedFileReader::new(bytes::Bytes::from(bytes)).unwrap();
    reader.get_row_iter(None).unwrap().map(|row| row.unwrap().into_columns().into_iter().collect()).collect()
}

fn table(units: LengthUnit) -> String {
    let plan = plan(units);
    readings_csv(&plan, &judged(&plan)).unwrap()
}

fn check_row(cells: &[(String, Field)], heads: &csv::StringRecord, record: &csv::StringRecord) {
    assert_eq!(cells.len(), heads.len());
    for (((name, value), head), cell) in cells.iter().zip(heads).zip(record) {
        assert_eq!(name, head);
        match value {
            Field::Null => assert_eq!(cell, "", "{name}"),
            Field::Str(text) => assert_eq!(text, cell, "{name}"),
            Field::Int(count) => assert_eq!(count.to_string(), cell, "{name}"),
            Field::Double(number) => assert_eq!(*number, cell.parse::<f64>().unwrap(), "{name}"),
            other => panic!("{name}: {other:?}"),
        }
    }
}

#[test]
fn a_batch_is_one_table_with_every_cell_of_every_scan() {
    let text = table(LengthUnit::Millimetre);
    let scans = [("day-1/a.ply", Some(1_767_323_045)), ("b.ply", None)].map(|(name, taken_s)| ScanReadings {
        name,
        taken_s,
        csv: &text,
    });
    let bytes = readings_parquet(&scans).unwrap();
    assert_eq!(bytes, readings_parquet(&scans).unwrap(), "the same input gives the same bytes");
    let rows = read(bytes);
    let mut csv = csv::Reader::from_reader(text.as_bytes());
    let heads = csv.headers().unwrap().clone();
    let records: Vec<csv::StringRecord> = csv.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 2 * records.len());
    let mut nulls = 0;
    for (index, row) in rows.iter().enumerate() {
        let [(scan_head, scan), (taken_head, taken), cells @ ..] = row.as_slice() else { panic!("{row:?}") };
        assert_eq!((scan_head.as_str(), taken_head.as_str()), ("scan", "taken"));
        let (name, taken_s) =
            if index < records.len() { ("day-1/a.ply", Some(1_767_323_045_000)) } else { ("b.ply", None) };
        assert_eq!(*scan, Field::Str(name.to_owned()));
        match taken_s {
            Some(taken_ms) => assert_eq!(*taken, Field::TimestampMillis(taken_ms)),
            None => assert_eq!(*taken, Field::Null),
        }
        check_row(cells, &heads, &records[index % records.len()]);
        nulls += cells.iter().filter(|(_, value)| *value == Field::Null).count();
    }
    assert!(nulls > 100, "unseen stations and good ones without a reason are null: {nulls}");
}

/// The first scan's unit holds for the table; the other's lengths are worked out: 1 in = 25.4 mm exactly.
#[test]
fn scans_in_millimetres_and_inches_share_a_table_in_the_first_ones_unit() {
    let (millimetres, inches) = (table(LengthUnit::Millimetre), table(LengthUnit::Inch));
    let scans =
        [("a", &millimetres), ("b", &inches)].map(|(name, csv)| ScanReadings { name, taken_s: None, csv });
    let rows = read(readings_parquet(&scans).unwrap());
    let (first, second) = rows.split_at(rows.len() / 2);
    let mut compared = 0;
    for (one, other) in first.iter().zip(second) {
        for ((name, one), (other_name, other)) in one.iter().zip(other) {
            assert_eq!(name, other_name);
            if let (Field::Double(one), Field::Double(other)) = (one, other) {
                // The inch table has seven decimals: 1.3e-6 mm; the other five.
                assert!((one - other).abs() < 1e-5, "{name}: {one} {other}");
                compared += 1;
            }
        }
    }
    assert!(compared > 1000, "{compared}");
}

#[test]
fn a_batch_without_a_readable_scan_is_an_empty_table_and_broken_cells_are_said() {
    assert!(read(readings_parquet(&[]).unwrap()).is_empty());
    let broken = ScanReadings { name: "a.ply", taken_s: None, csv: "seam,station,gap_mm\nx,1,wide\n" };
    let said = readings_parquet(&[broken]).unwrap_err().to_string();
    assert!(said.contains("a.ply") && said.contains("'wide'") && said.contains("gap_mm"), "{said}");
}
