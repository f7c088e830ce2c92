//! A FIT activity read from its bytes.
//!
//! Given the bytes of a file; walks through its sections and messages, hands the sound ones on to be gathered,
//! and says where bytes are missing or make no sense. It never fills in a value.

use std::panic::{AssertUnwindSafe, catch_unwind};

use super::activity::{Activity, Use};
use super::frame::{Break, Frame, Frames};
use super::message::MessageDecoder;
use super::section::{Section, State, cut};
use super::{MAX_PARTS, Provenance, Recording, refuse_above, refuse_large, refuse_many};
use crate::error::Error;
use crate::finding::What;

/// Decodes a FIT activity; `file` is its name in messages.
///
/// Reads all recordings that stand one after another in the file. What is damaged or odd is a finding; an error
/// means that nothing could be used: not FIT, not an activity, no record with a time, or a limit passed.
///
/// ```
/// let error = loopwright::record::decode_fit(b"not a ride", "notes.fit").unwrap_err();
/// assert!(error.to_string().starts_with("notes.fit: not a ride file"));
/// ```
pub fn decode_fit(bytes: &[u8], file: &str) -> Result<Recording, Error> {
    refuse_large(bytes.len() as u64, file)?;
    // The last boundary: should the library panic on bytes nobody has thought of, the file is refused.
    catch_unwind(AssertUnwindSafe(|| decode(bytes, file)))
        .unwrap_or_else(|_| Err(Error::NotARide { file: file.into(), reason: "its bytes stopped the decoder".into() }))
}

fn decode(bytes: &[u8], file: &str) -> Result<Recording, Error> {
    let cut = cut(bytes);
    if cut.sections.is_empty() {
        return Err(Error::NotARide { file: file.into(), reason: "it has no FIT header".into() });
    }
    refuse_above(MAX_PARTS, cut.sections.len(), "number of recordings in it", file)?;
    refuse_many(bytes, "number of records", file, || cut.sections.iter().map(records_of).sum())?;
    let mut activity = Activity::new(file);
    let mut findings = Vec::new();
    for (i, section) in cut.sections.iter().enumerate() {
        if let Some(end) = read_section(section, &mut activity)? {
            findings.extend(end.findings(i + 1, section, activity.records()));
        }
    }
    findings.extend((cut.sections.len() > 1).then_some(What::SeveralParts { parts: cut.sections.len() }));
    findings.extend((cut.stray_bytes > 0).then_some(What::StrayBytes { bytes: cut.stray_bytes }));
    let mut recording = activity.finish()?;
    recording.findings.splice(0..0, findings);
    recording.provenance = Provenance::of(bytes, file);
    Ok(recording)
}

/// Records of a section up to the first damage, told apart and not decoded.
fn records_of(section: &Section) -> usize {
    let mut frames = Frames::new(section.messages);
    let mut records = 0;
    while let Some(Ok(frame)) = frames.next() {
        if let Frame::Data { local, .. } = frame {
            records += usize::from(frames.definition(local).is_some_and(|d| Activity::is_record(d.message)));
        }
    }
    records
}

/// Reads one section; `None` when it is not an activity and was left.
fn read_section(section: &Section, activity: &mut Activity) -> Result<Option<End>, Error> {
    let mut frames = Frames::new(section.messages);
    let mut decoder = MessageDecoder::new();
    let mut end = End::default();
    activity.begin_section();
    while let Some(frame) = frames.next() {
        match frame {
            Ok(Frame::Definition { local }) => {
                if let Some(definition) = frames.definition(local)
                    && Activity::wants(definition.message)
                {
                    decoder.declare(local, definition, activity.chosen_field(definition));
                }
            }
            Ok(Frame::Data { local, time, bytes }) => {
                let message = frames.definition(local).map(|d| d.message);
                let Some(message) = message.filter(|&m| Activity::wants(m)) else { continue };
                match decoder.fields(local, bytes) {
                    Some(fields) => {
                        if let Use::Foreign = activity.message(message, &fields, time)? {
                            return Ok(None);
                        }
                    }
                    None => activity.undecodable(),
                }
            }
            Err(cause) => {
                let resumed = frames.resume();
                if resumed || cause == Break::Undeclared {
                    activity.doubt_last_record();
                }
                match cause {
                    _ if resumed => {}
                    Break::Undeclared => frames.abandon(),
                    Break::Cut { missing_bytes } => {
                        end.missing_bytes = missing_bytes as u64;
                        break;
                    }
                }
            }
        }
    }
    end.lost_bytes = frames.lost_bytes();
    Ok(Some(end))
}

/// What was found at the end of a section.
#[derive(Default)]
struct End {
    /// Bytes the last message is short of.
    missing_bytes: u64,
    /// Bytes that could not be understood, here or on the way.
    lost_bytes: usize,
}

impl End {
    fn findings(&self, part: usize, section: &Section, records: usize) -> Vec<What> {
        let mut findings = Vec::new();
        match section.state {
            State::ChecksumWrong => findings.push(What::ChecksumMismatch { part }),
            State::NotFinalised => findings.push(What::NotFinalised { part }),
            // A cut file is told by its missing bytes.
            State::Sound | State::CutOff => {}
        }
        let missing_bytes = section.missing_bytes.max(self.missing_bytes);
        findings.extend((missing_bytes > 0).then_some(What::Truncated { records, missing_bytes }));
        let lost_bytes = self.lost_bytes;
        findings.extend((lost_bytes > 0).then_some(What::Damaged { part, lost_bytes }));
        findings
    }
}
