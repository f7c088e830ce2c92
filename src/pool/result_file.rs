//! A `solution.json` read back.
//!
//! Given its bytes; gives the solution, or what the file is instead.

use crate::solution::{SCHEMA, Solution};
use serde::Deserialize;

#[derive(Deserialize)]
struct Head {
    schema: Option<u32>,
    loopwright: Option<String>,
    kind: Option<String>,
}

/// A result as `solve` wrote it, or what the file is instead.
pub fn solution(bytes: &[u8]) -> Result<Solution, String> {
    let give = "give a solution.json that `loopwright solve` wrote";
    let head: Head = serde_json::from_slice(bytes).map_err(|e| {
        if bytes.iter().all(u8::is_ascii_whitespace) {
            format!("it is empty; {give}")
        } else if e.is_data() {
            format!("it is JSON but not a loopwright result ({e}); {give}")
        } else {
            format!("it is not JSON ({e}); {give}")
        }
    })?;
    if head.kind.is_some() {
        return Err(format!("it is a pooled result; its days would be counted twice, so {give} of each day"));
    }
    let (Some(schema), Some(by)) = (head.schema, head.loopwright) else {
        return Err(format!("it is JSON but not a loopwright result (no schema and version in it); {give}"));
    };
    if schema != SCHEMA {
        return Err(format!(
            "it has schema {schema} (loopwright {by}) and this program reads schema {SCHEMA}; solve the session again \
             with this program"
        ));
    }
    let solution: Solution = serde_json::from_slice(bytes)
        .map_err(|e| format!("it says schema {SCHEMA} but does not hold to it ({e}); solve the session again"))?;
    if !(solution.confidence > 0.0 && solution.confidence < 1.0) {
        return Err(format!(
            "its confidence is {}, which is not between 0 and 1; solve the session again",
            solution.confidence
        ));
    }
    Ok(solution)
}
