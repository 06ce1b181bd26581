//! LAS files: every point format, plain and packed with times as scanners write them, against another decoder, and files whose times never end.
//!
//! Tolerance: none. The other decoder is the one of the crates `las` and `laz`, which decodes every field.

use std::io::{Cursor, Write};

use las::point::{Format, ScanDirection};
use las::raw::point::Waveform;
use laz::encoders::ArithmeticEncoder;
use laz::las::{Point1, Point3, Point5, Point6, v2, v3};
use laz::laszip::{ChunkTable, ChunkTableEntry, LazItemRecordBuilder};
use laz::models::{ArithmeticModel, ArithmeticModelBuilder};
use laz::record::{
    FieldCompressor, LayeredPointRecordCompressor, RecordCompressor, SequentialPointRecordCompressor,
};
use laz::{LasZipCompressor, LazItem, LazVlr};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::collect::{Failure, collect};
use crate::memory::peak_of;

/// More than the 50,000 of a chunk, as most writers have it.
const MORE_THAN_A_CHUNK: usize = 51_000;
/// Frames of a decoder that calls itself: with ten bytes each they would fill the stack of any thread.
const TOO_MANY: usize = 1_000_000;
/// LAS 1.4 R15, table 3: where the points begin, and how many of them there are in formats 0 to 5.
const DATA_AT: usize = 96;
const COUNT_AT: usize = 107;

/// Times of a few clocks by turns, whose steps are equal, multiples of the last one, odd, none, or backwards.
fn times(count: usize, random: &mut ChaCha8Rng) -> Vec<f64> {
    // Seconds of a week, of a GPS epoch, since the beginning, and two clocks that begin anew.
    let mut clocks = [302_400.25_f64, 1.4e9, 3.5, 8e4, 1e-3].map(f64::to_bits);
    let mut steps = [1_u64 << 24; 5];
    let mut current = 0;
    (0..count)
        .map(|_| {
            if random.random_range(0..20) == 0 {
                current = random.random_range(0..clocks.len());
            }
            if random.random_range(0..300) == 0 {
                steps[current] = random.random_range(1..1 << 20);
            }
            let multiple: i64 = match random.random_range(0..12) {
                0 => 0,
                1 => random.random_range(2..10),
                2 => random.random_range(10..500),
                3 => random.random_range(500..1500),
                4 => random.random_range(-9..0),
                5 => random.random_range(-400..-9),
                _ => 1,
            };
            let odd = if random.random_range(0..6) == 0 { random.random_range(-99_999..99_999) } else { 0 };
            let moved = clocks[current] as i64 + steps[current] as i64 * multiple + odd;
            // Some clock readings have nothing to do with the one before.
            clocks[current] = match random.random_range(0..3000) {
                0 => random.random_range(1e-3..1e9_f64).to_bits(),
                _ => moved as u64,
            };
            f64::from_bits(clocks[current])
        })
        .collect()
}

fn format_of(number: u8, extra_bytes: u16) -> Format {
    let mut format = Format::new(number).unwrap();
    format.extra_bytes = extra_bytes;
    format
}

fn points_of(format: Format, count: usize) -> Vec<las::Point> {
    let mut random = ChaCha8Rng::seed_from_u64(format.to_u8().unwrap().into());
    let times = times(count, &mut random);
    let mut place = [0.0; 3];
    let points = times.into_iter().map(|time| {
        for coordinate in &mut place {
            *coordinate += f64::from(random.random_range(-500..500)) / 1000.0;
        }
        let [x, y, z] = place;
        let number_of_returns = random.random_range(1..=5);
        las::Point {
            x,
            y,
            z,
            intensity: random.random_range(0..900),
            number_of_returns,
            return_number: random.random_range(1..=number_of_returns),
            scan_direction: if random.random() {
                ScanDirection::LeftToRight
            } else {
                ScanDirection::RightToLeft
            },
            scanner_channel: if format.is_extended && random.random_range(0..40) == 0 {
                random.random_range(0..4)
            } else {
                0
            },
            scan_angle: f32::from(random.random_range(-20_i8..20)),
            user_data: random.random_range(0..9),
            point_source_id: random.random_range(0..3),
            gps_time: format.has_gps_time.then_some(time),
            color: format.has_color.then(|| las::Color::new(random.random(), random.random_range(0..256), 7)),
            nir: format.has_nir.then(|| random.random_range(0..3000)),
            waveform: format.has_waveform.then(|| Waveform {
                wave_packet_descriptor_index: 1,
                byte_offset_to_waveform_data: random.random_range(60..1 << 33),
                waveform_packet_size_in_bytes: random.random_range(0..2) * 256,
                x_t: random.random(),
                ..Waveform::default()
            }),
            extra_bytes: (0..format.extra_bytes).map(|_| random.random_range(0..4)).collect(),
            ..las::Point::default()
        }
    });
    points.collect()
}

fn packed(mut format: Format, points: &[las::Point]) -> Vec<u8> {
    format.is_compressed = true;
    let mut builder = las::Builder::from((1, 4));
    builder.point_format = format;
    let mut writer = las::Writer::new(Cursor::new(Vec::new()), builder.into_header().unwrap()).unwrap();
    for point in points {
        writer.write_point(point.clone()).unwrap();
    }
    writer.into_inner().unwrap().into_inner()
}

/// Not packed; steps and origins are other ones on each axis.
fn plain(format: Format, points: &[las::Point]) -> Vec<u8> {
    let mut builder = las::Builder::from((1, 4));
    builder.point_format = format;
    let axis = |scale, offset| las::Transform { scale, offset };
    builder.transforms = las::Vector { x: axis(0.001, -40.0), y: axis(0.000_7, 1234.5), z: axis(0.01, 0.0) };
    let mut writer = las::Writer::new(Cursor::new(Vec::new()), builder.into_header().unwrap()).unwrap();
    for point in points {
        writer.write_point(point.clone()).unwrap();
    }
    writer.into_inner().unwrap().into_inner()
}

/// What the other decoder finds: all of its records, and their places.
fn by_another_decoder(bytes: &[u8]) -> (las::PointData, Vec<[f64; 3]>) {
    let records = las::Reader::new(Cursor::new(bytes.to_vec())).unwrap().read_all().unwrap();
    let places = records.x().zip(records.y()).zip(records.z()).map(|((x, y), z)| [x, y, z]).collect();
    (records, places)
}

#[test]
fn every_point_format_is_unpacked_to_the_same_places() {
    for (number, extra_bytes) in (0..=10).map(|number| (number, 0)).chain([(1, 3), (7, 3)]) {
        let format = format_of(number, extra_bytes);
        let points = points_of(format, MORE_THAN_A_CHUNK);
        let bytes = packed(format, &points);
        let (records, wanted) = by_another_decoder(&bytes);
        // The other decoder has come to the end of every stream in one piece.
        let last = records.points().last().unwrap().unwrap();
        assert_eq!(last.gps_time, points.last().unwrap().gps_time, "format {number}");
        assert_eq!(wanted.len(), points.len(), "format {number}");
        let found =
            collect(&bytes).unwrap_or_else(|failure| panic!("format {number}: {}", failure.text())).points;
        let differing = found.iter().zip(&wanted).position(|(found, wanted)| found != wanted);
        assert!(found.len() == wanted.len() && differing.is_none(), "format {number}: {differing:?}");
    }
}

#[test]
fn every_point_format_that_is_not_packed_is_read_to_the_same_places() {
    for (number, extra_bytes) in (0..=10).map(|number| (number, 0)).chain([(1, 3), (7, 3)]) {
        let format = format_of(number, extra_bytes);
        let points = points_of(format, 3000);
        let bytes = plain(format, &points);
        let (_, wanted) = by_another_decoder(&bytes);
        let found = collect(&bytes).unwrap_or_else(|failure| panic!("format {number}: {}", failure.text()));
        assert_eq!(found.points, wanted, "format {number}");
        // Two bytes short are a point short.
        let text = collect(&bytes[..bytes.len() - 2]).unwrap_err().text();
        assert!(text.contains("3000") && text.contains("2999"), "format {number}: {text}");
    }
}

/// A packed file put together from its parts: the head of one that a writer made, the fields and the kind of packing, and what is
/// behind the head.
fn put_together(whole: &[u8], fields: &[LazItem], kind: u16, chunk_size: u32, body: &[u8]) -> Vec<u8> {
    let data_at = u32::from_le_bytes(whole[DATA_AT..DATA_AT + 4].try_into().unwrap()) as usize;
    let mut head = whole[..data_at].to_vec();
    // The record about packing: its user's name 52 bytes before its content, which has kind, chunk size, and the fields.
    let user = LazVlr::USER_ID.as_bytes();
    let record_at = head.windows(user.len()).position(|window| window == user).unwrap() + 52;
    head[record_at..record_at + 2].copy_from_slice(&kind.to_le_bytes());
    head[record_at + 12..record_at + 16].copy_from_slice(&chunk_size.to_le_bytes());
    for (place, field) in fields.iter().enumerate() {
        let version_at = record_at + 34 + 6 * place + 4;
        head[version_at..version_at + 2].copy_from_slice(&field.version().to_le_bytes());
    }
    [&head, body].concat()
}

/// A body of one chunk: the place of the table, the chunk, the table.
fn one_chunk(whole: &[u8], chunk: &[u8], fields: Vec<LazItem>, point_count: u64) -> Vec<u8> {
    let data_at = u32::from_le_bytes(whole[DATA_AT..DATA_AT + 4].try_into().unwrap());
    let mut body = (i64::from(data_at) + 8 + chunk.len() as i64).to_le_bytes().to_vec();
    body.extend_from_slice(chunk);
    let mut table = ChunkTable::default();
    table.push(ChunkTableEntry { point_count, byte_count: chunk.len() as u64 });
    table.write_to(&mut body, &LazVlr::from_laz_items(fields)).unwrap();
    body
}

fn refusal(bytes: &[u8]) -> String {
    let (outcome, peak) = peak_of(|| collect(bytes).map(|scan| scan.points.len()));
    assert!(peak < 8 << 20, "{peak} bytes held");
    outcome.as_ref().map_err(Failure::text).unwrap_err()
}

#[test]
fn points_in_one_piece_and_the_first_version_of_the_fields_are_unpacked() {
    let count = 3000;
    for (number, fields) in [
        (1, LazItemRecordBuilder::version_1_of::<Point1>(2)),
        (3, LazItemRecordBuilder::version_1_of::<Point3>(2)),
        (5, LazItemRecordBuilder::version_1_of::<Point5>(2)),
        (1, LazItemRecordBuilder::version_2_of::<Point1>(2)),
        (3, LazItemRecordBuilder::version_2_of::<Point3>(2)),
        (5, LazItemRecordBuilder::version_2_of::<Point5>(2)),
    ] {
        let format = format_of(number, 2);
        let whole = packed(format, &points_of(format, count));
        let (records, wanted) = by_another_decoder(&whole);
        let mut packer = SequentialPointRecordCompressor::new(Vec::new());
        packer.set_fields_from(&fields).unwrap();
        packer.compress_many(records.raw_bytes()).unwrap();
        packer.done().unwrap();
        let body = packer.into_inner();
        let bytes = put_together(&whole, &fields, 1, 50_000, &body);
        assert_eq!(by_another_decoder(&bytes).1, wanted, "format {number}");
        assert_eq!(collect(&bytes).unwrap().points, wanted, "format {number}");
        // What has no chunks has no size of them; the other decoder would want a table.
        let bytes = put_together(&whole, &fields, 1, 0, &body);
        assert_eq!(collect(&bytes).unwrap().points, wanted, "format {number}");
    }
}

#[test]
fn chunks_may_have_different_numbers_of_points() {
    let count = 3000;
    for number in [3, 7] {
        let format = format_of(number, 0);
        let whole = packed(format, &points_of(format, count));
        let (records, wanted) = by_another_decoder(&whole);
        let data_at = u32::from_le_bytes(whole[DATA_AT..DATA_AT + 4].try_into().unwrap()) as usize;
        let fields = LazItemRecordBuilder::default_for_point_format_id(number, 0).unwrap();
        let packing = laz::LazVlrBuilder::new(fields.clone()).with_variable_chunk_size().build();
        // The place of the table counts from the beginning of the file.
        let mut file = Cursor::new(Vec::new());
        file.write_all(&whole[..data_at]).unwrap();
        let mut packer = LasZipCompressor::new(&mut file, packing).unwrap();
        for (index, record) in records.raw_bytes().chunks_exact(records.record_len()).enumerate() {
            if [1, 700, 701, 2500].contains(&index) {
                packer.finish_current_chunk().unwrap();
            }
            packer.compress_one(record).unwrap();
        }
        packer.done().unwrap();
        drop(packer);
        let kind = if number < 6 { 2 } else { 3 };
        let bytes = put_together(&whole, &fields, kind, u32::MAX, &file.into_inner()[data_at..]);
        assert_eq!(by_another_decoder(&bytes).1, wanted, "format {number}");
        assert_eq!(collect(&bytes).unwrap().points, wanted, "format {number}");
        if number < 6 {
            let mut more = bytes;
            more[COUNT_AT..COUNT_AT + 4].copy_from_slice(&(count as u32 + 5).to_le_bytes());
            // LAS 1.4 R15, table 3: the same in 64 bits.
            more[247..255].copy_from_slice(&(count as u64 + 5).to_le_bytes());
            let text = refusal(&more);
            assert!(text.contains("promises 3005 points and holds 3000"), "{text}");
        }
    }
}

/// A writer of times that leaves a sequence for another, again and again.
struct Restless {
    model: ArithmeticModel,
    switches: usize,
}

impl<W: Write> FieldCompressor<W> for Restless {
    fn size_of_field(&self) -> usize {
        8
    }

    fn compress_first(&mut self, out: &mut W, time: &[u8]) -> std::io::Result<()> {
        out.write_all(time)
    }

    fn compress_with(&mut self, encoder: &mut ArithmeticEncoder<W>, _time: &[u8]) -> std::io::Result<()> {
        for _ in 0..self.switches {
            // To the sequence after this one; zero says that the time stays the same.
            encoder.encode_symbol(&mut self.model, 3)?;
        }
        encoder.encode_symbol(&mut self.model, 0)
    }
}

/// Found by fuzzing: the decoder of times called itself at each switch, until the stack was full, and the program ended.
#[test]
fn a_time_that_never_comes_is_refused() {
    let format = format_of(1, 0);
    let whole = packed(format, &points_of(format, 3));
    let (records, wanted) = by_another_decoder(&whole);
    let fields = LazItemRecordBuilder::version_2_of::<Point1>(0);
    let with_switches = |switches| {
        let mut packer = SequentialPointRecordCompressor::new(Vec::new());
        packer.add_field_compressor(v2::LasPoint0Compressor::default());
        packer.add_field_compressor(Restless { model: ArithmeticModelBuilder::new(6).build(), switches });
        packer.compress_many(records.raw_bytes()).unwrap();
        packer.done().unwrap();
        let chunk = packer.into_inner();
        put_together(&whole, &fields, 2, 50_000, &one_chunk(&whole, &chunk, fields.clone(), 3))
    };
    // Once is what writers do.
    assert_eq!(collect(&with_switches(1)).unwrap().points, wanted);
    let hostile = with_switches(TOO_MANY);
    assert!(hostile.len() < 2000, "{} bytes", hostile.len());
    let text = refusal(&hostile);
    assert!(text.contains("belongs to one sequence after the other"), "{text}");
}

/// The same in layers, where the times are not looked at.
#[test]
fn a_time_that_never_comes_in_a_layer_of_its_own_is_left_alone() {
    let format = format_of(6, 0);
    // The channel stays the same, so that the first times after the first point are of one set of models.
    let points: Vec<_> =
        points_of(format, 3).into_iter().map(|point| las::Point { scanner_channel: 0, ..point }).collect();
    let whole = packed(format, &points);
    let (records, wanted) = by_another_decoder(&whole);
    let fields = LazItemRecordBuilder::version_3_of::<Point6>(0);
    let mut packer = LayeredPointRecordCompressor::new(Vec::new());
    packer.add_field_compressor(v3::LasPoint6Compressor::default());
    packer.compress_many(records.raw_bytes()).unwrap();
    packer.done().unwrap();
    let mut chunk = packer.into_inner();
    // One point of 30 bytes, a count, nine sizes of layers; times are the last layer.
    let size_at = 30 + 4 + 8 * 4;
    let size = u32::from_le_bytes(chunk[size_at..size_at + 4].try_into().unwrap()) as usize;
    assert!(size > 0, "times that differ have a layer");
    chunk.truncate(chunk.len() - size);
    let mut encoder = ArithmeticEncoder::new(Vec::new());
    let mut model = ArithmeticModelBuilder::new(5).build();
    for _ in 0..TOO_MANY {
        encoder.encode_symbol(&mut model, 2).unwrap();
    }
    encoder.done().unwrap();
    let layer = encoder.into_inner();
    chunk[size_at..size_at + 4].copy_from_slice(&(layer.len() as u32).to_le_bytes());
    chunk.extend_from_slice(&layer);
    let hostile = put_together(&whole, &fields, 3, 50_000, &one_chunk(&whole, &chunk, fields.clone(), 3));
    assert!(hostile.len() < 2000, "{} bytes", hostile.len());
    assert_eq!(collect(&hostile).unwrap().points, wanted);
}
