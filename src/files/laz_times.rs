//! Steps over the times of packed points, which stand between what is wanted of them.
//!
//! In: a packed stream at a time. Out: the same stream behind it; the time itself is not kept. Units: none.
//! Method: field `GPSTIME11`, version 2, of M. Isenburg, "LASzip: lossless compression of LiDAR data", Photogrammetric Engineering
//! and Remote Sensing 79 (2013): four sequences of times; a symbol says which multiple of the sequence's last step comes, or
//! that another sequence goes on. Symbols and contexts as the crate `laz` writes them. That crate's own decoder calls itself each
//! time a sequence is left, which a hostile file says a million times in a kilobyte; here it is a loop that ends.

use std::io::{Error, ErrorKind, Read, Result};

use laz::decoders::ArithmeticDecoder;
use laz::decompressors::{IntegerDecompressor, IntegerDecompressorBuilder};
use laz::models::{ArithmeticModel, ArithmeticModelBuilder};
use laz::record::FieldDecompressor;

const TIME_BYTES: usize = 8;
const SEQUENCES: usize = 4;
/// Writers leave a sequence once at most: only for one in which the time can be written. Any other need not be believed.
const MOST_SWITCHES: usize = SEQUENCES;
/// Steps in a row that are no small multiple of the last, after which the step is taken anew.
const ODD_STEPS: u8 = 3;

// Symbols where the last step is zero; what is above the last switches the sequence.
const SMALL_STEP: u32 = 1;
const NEW_BEFORE_STEPS: u32 = 2;
const SYMBOLS_BEFORE_STEPS: u32 = 6;
// Symbols where it is not: up to here a multiple of it, then the multiples below zero, then these.
const LARGEST_MULTIPLE: u32 = 500;
const LEAST_MULTIPLE: u32 = 510;
const UNCHANGED: u32 = 511;
const NEW_AMONG_STEPS: u32 = 512;
const SYMBOLS_AMONG_STEPS: u32 = 516;
/// Contexts of the corrections.
const CONTEXTS: u32 = 9;
const CONTEXT_OF_NEW: u32 = 8;

/// One of the four sequences.
#[derive(Debug, Clone, Copy, Default)]
struct Sequence {
    /// Difference of its last two times, as whole numbers of their bits.
    step: i32,
    odd_steps: u8,
}

/// Decodes times and forgets them.
pub(super) struct TimesPassedOver {
    before_steps: ArithmeticModel,
    among_steps: ArithmeticModel,
    corrections: IntegerDecompressor,
    sequences: [Sequence; SEQUENCES],
    current: usize,
    newest: usize,
}

impl Default for TimesPassedOver {
    fn default() -> Self {
        Self {
            before_steps: ArithmeticModelBuilder::new(SYMBOLS_BEFORE_STEPS).build(),
            among_steps: ArithmeticModelBuilder::new(SYMBOLS_AMONG_STEPS).build(),
            corrections: IntegerDecompressorBuilder::new().bits(32).contexts(CONTEXTS).build_initialized(),
            sequences: [Sequence::default(); SEQUENCES],
            current: 0,
            newest: 0,
        }
    }
}

impl<R: Read> FieldDecompressor<R> for TimesPassedOver {
    fn size_of_field(&self) -> usize {
        TIME_BYTES
    }

    fn decompress_first(&mut self, input: &mut R, time: &mut [u8]) -> Result<()> {
        input.read_exact(time)
    }

    fn decompress_with(&mut self, decoder: &mut ArithmeticDecoder<R>, _time: &mut [u8]) -> Result<()> {
        for _ in 0..=MOST_SWITCHES {
            let has_step = self.sequence().step != 0;
            let (model, new) = if has_step {
                (&mut self.among_steps, NEW_AMONG_STEPS)
            } else {
                (&mut self.before_steps, NEW_BEFORE_STEPS)
            };
            let symbol = decoder.decode_symbol(model)?;
            if symbol > new {
                self.current = (self.current + (symbol - new) as usize) % SEQUENCES;
            } else if symbol == new {
                return self.begin_sequence(decoder);
            } else if has_step {
                return self.step_on(symbol, decoder);
            } else {
                return self.first_step(symbol, decoder);
            }
        }
        Err(Error::new(ErrorKind::InvalidData, "the time of a point belongs to one sequence after the other"))
    }
}

impl TimesPassedOver {
    fn sequence(&mut self) -> &mut Sequence {
        let [first, second, third, fourth] = &mut self.sequences;
        match self.current {
            0 => first,
            1 => second,
            2 => third,
            _ => fourth,
        }
    }

    /// A time far from all others.
    fn begin_sequence<R: Read>(&mut self, decoder: &mut ArithmeticDecoder<R>) -> Result<()> {
        // The prediction would only shift a value that is not kept.
        self.corrections.decompress(decoder, 0, CONTEXT_OF_NEW)?;
        decoder.read_int()?;
        self.newest = (self.newest + 1) % SEQUENCES;
        self.current = self.newest;
        *self.sequence() = Sequence::default();
        Ok(())
    }

    fn first_step<R: Read>(&mut self, symbol: u32, decoder: &mut ArithmeticDecoder<R>) -> Result<()> {
        if symbol == SMALL_STEP {
            let step = self.corrections.decompress(decoder, 0, 0)?;
            *self.sequence() = Sequence { step, odd_steps: 0 };
        }
        Ok(())
    }

    fn step_on<R: Read>(&mut self, symbol: u32, decoder: &mut ArithmeticDecoder<R>) -> Result<()> {
        // The context, and, where the step may become the sequence's, the multiple of the last one that predicts it.
        let (context, odd_multiple) = match symbol {
            0 => (7, Some(0)),
            1 => (1, None),
            2..10 => (2, None),
            10..LARGEST_MULTIPLE => (3, None),
            LARGEST_MULTIPLE => (4, Some(LARGEST_MULTIPLE as i32)),
            LEAST_MULTIPLE => (6, Some(-10)),
            UNCHANGED => return Ok(()),
            _ => (5, None),
        };
        let predicted = odd_multiple.unwrap_or(0).wrapping_mul(self.sequence().step);
        let step = self.corrections.decompress(decoder, predicted, context)?;
        let sequence = self.sequence();
        if odd_multiple.is_none() {
            if symbol == 1 {
                sequence.odd_steps = 0;
            }
        } else if sequence.odd_steps < ODD_STEPS {
            sequence.odd_steps += 1;
        } else {
            *sequence = Sequence { step, odd_steps: 0 };
        }
        Ok(())
    }
}
