//! Where the messages of a FIT section can be told apart again behind damage.
//!
//! Given bytes and the definitions in force; gives a place in them, or none. It decodes nothing and changes
//! nothing, so a wrong guess costs only what was lost already.

use super::definition::Definition;

/// Messages in a row that show that damage is over.
const PROOF_MESSAGES: usize = 8;
/// Longest step between their times, s.
const PROOF_STEP_S: u32 = 60;
/// Longest time from the section's first message to them, s.
const PROOF_SPAN_S: u32 = 86_400;

/// The first place behind the beginning of the bytes at which messages follow one another soundly.
///
/// That is eight data messages of declared kinds in a row, half of them or more with a full time that does not go
/// back, steps by a minute at most, and lies within a day of the section's first. Four times of 32 bits in noise
/// have a chance below 1e-20 of passing for that.
pub(super) fn sound_place(
    bytes: &[u8],
    definitions: &[Option<Definition>; 16],
    first_time: Option<u32>,
) -> Option<usize> {
    (1..bytes.len()).find(|&at| bytes.get(at..).is_some_and(|rest| is_sound(rest, definitions, first_time)))
}

fn is_sound(mut rest: &[u8], definitions: &[Option<Definition>; 16], first_time: Option<u32>) -> bool {
    let mut timed = 0;
    let mut latest = first_time;
    for _ in 0..PROOF_MESSAGES {
        // A header above fifteen is a definition or a short time, neither of which proves anything.
        let definition = rest.first().and_then(|&header| definitions.get(usize::from(header))?.as_ref());
        let Some(definition) = definition else { return false };
        let Some((bytes, behind)) = rest.split_at_checked(1 + definition.bytes) else { return false };
        rest = behind;
        if let Some(time) = definition.full_time(bytes) {
            let longest = if timed == 0 { PROOF_SPAN_S } else { PROOF_STEP_S };
            if latest.is_some_and(|latest| time < latest || time - latest > longest) {
                return false;
            }
            timed += 1;
            latest = Some(time);
        }
    }
    timed >= PROOF_MESSAGES / 2
}
