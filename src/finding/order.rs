//! An order of riding in which a drift through the day looks like a difference: the words of it.
//!
//! Given the order on each venue; gives a message. It judges nothing.

use crate::wording::{capitalised, listed};

/// A longer order stands behind the first sentence.
const SHORT: usize = 32;

/// "rollers", "the track".
fn the(venue: &str) -> String {
    if venue == "rollers" { venue.to_string() } else { format!("the {venue}") }
}

pub(super) fn confounded(orders: &[(&str, String)]) -> String {
    let places: Vec<String> = match orders {
        [(venue, _)] => vec![the(venue)],
        many => many.iter().map(|(venue, _)| venue.to_string()).collect(),
    };
    let alike = orders.iter().all(|(_, order)| Some(order) == orders.first().map(|(_, first)| first));
    let on = format!("on {}{}", listed(&places), if places.len() > 1 && alike { " alike," } else { "" });
    let (first, then) = match orders.first() {
        Some((_, order)) if alike && order.len() <= SHORT => {
            (format!("{} the order {order}", capitalised(&on)), String::new())
        }
        _ => {
            let each: Vec<String> = orders.iter().map(|(venue, order)| format!("{order} on {}", the(venue))).collect();
            (format!("{} the order of riding", capitalised(&on)), format!(" The order was {}.", each.join(", and ")))
        }
    };
    format!("{first} makes a drift through the day look like a difference.{then} Ride A B B A or A B C C B A.")
}
