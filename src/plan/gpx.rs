//! Positions from a GPX file (GPX 1.1, an open XML format).
//!
//! Given the text; gives the points of its tracks, or of its routes where there is no track, in order. Times, heights
//! and everything else are passed over.

use crate::error::Error;
use crate::session::Position;
use roxmltree::{Document, ParsingOptions};

/// Most XML nodes read.
const MOST_NODES: u32 = 4_000_000;

/// The positions of a GPX file.
///
/// Errors: [`Error::NotARide`] when it is not XML or holds no point.
pub fn gpx_positions(text: &str, file: &str) -> Result<Vec<Position>, Error> {
    let refuse = |reason: String| Error::NotARide { file: file.to_string(), reason };
    let options = ParsingOptions { nodes_limit: MOST_NODES, ..ParsingOptions::default() };
    let document =
        Document::parse_with_options(text, options).map_err(|e| refuse(format!("not readable as GPX: {e}")))?;
    let points = |name: &str| -> Vec<Position> {
        let degrees =
            |node: &roxmltree::Node, key: &str| node.attribute(key).and_then(|v| v.trim().parse::<f64>().ok());
        document
            .descendants()
            .filter(|n| n.tag_name().name() == name)
            .filter_map(|n| Some(Position { lat_deg: degrees(&n, "lat")?, lon_deg: degrees(&n, "lon")? }))
            .filter(|p| p.lat_deg.abs() <= 90.0 && p.lon_deg.abs() <= 180.0)
            .collect()
    };
    let mut found = points("trkpt");
    if found.is_empty() {
        found = points("rtept");
    }
    if found.is_empty() { Err(refuse("there is no track or route point with lat and lon".into())) } else { Ok(found) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn track_points_come_in_order_and_others_are_passed_over() {
        // GPX 1.1 schema: trkpt with lat and lon in degrees as attributes.
        let text = r#"<?xml version="1.0"?><gpx version="1.1" xmlns="urn:example"><wpt lat="9" lon="9"/>
            <trk><trkseg><trkpt lat="0.5" lon="-140.0"><ele>3</ele></trkpt><trkpt lat="0.6" lon="-140.1"/>
            <trkpt lat="ten" lon="0"/></trkseg></trk></gpx>"#;
        let found = gpx_positions(text, "loop.gpx").unwrap();
        assert_eq!(found, [Position { lat_deg: 0.5, lon_deg: -140.0 }, Position { lat_deg: 0.6, lon_deg: -140.1 }]);
    }

    #[test]
    fn what_is_no_gpx_is_refused_with_the_file() {
        for text in ["", "<gpx>", "<gpx/>", "\u{0}\u{1}", "lat,lon\n1,2"] {
            assert!(gpx_positions(text, "loop.gpx").unwrap_err().to_string().starts_with("loop.gpx: "));
        }
    }
}
