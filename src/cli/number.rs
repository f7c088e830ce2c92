//! Numbers as arguments.

/// A number with a decimal point; infinities and "nan" are none.
pub fn number(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        Ok(_) => Err("not a finite number".into()),
        Err(_) if text.replace(',', ".").trim().parse::<f64>().is_ok() => {
            Err(format!("not a number; write {} with a point", text.trim().replace(',', ".")))
        }
        Err(_) => Err("not a number; give digits only, the unit is in the name of the flag".into()),
    }
}
