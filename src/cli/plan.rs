//! `loopwright plan`.

use super::failure::Failure;
use super::figure_style::FigureStyle;
use super::load_plan::plan;
use super::results::Kind;
use super::{Format, Units, output, results};
use clap::Args;
use loopwright::forecast::{Forecast, forecast_in_parts, forecast_parts, lap_targets};
use loopwright::plan::Plan;
use loopwright::plot::{Figure, Style, curves};
use loopwright::report::files::{ResultFile, of_figure};
use loopwright::report::forecast::{forecast_page, forecast_text};
use loopwright::report::laps_figure::laps_curves;
use loopwright::report::run_sheet::run_sheet;
use std::path::PathBuf;

/// Arguments of `plan`.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  loopwright plan PLAN.toml
  loopwright plan PLAN.toml --out day-1

With --out the folder gets the run sheet to print (run-sheet.html, run-sheet.md), plan.json and the figure plan.svg.
A smallest plan:

  order = [\"old\", \"new\", \"new\", \"old\"]
  laps_per_run = 8
  speeds_km_h = [29.0, 41.0]
  rider_and_bike.mass_kg = 86.0
  loop.length_m = 1250.0
  solve.cda = \"common\"      # only the tyres change
  target.power_w = 3.0       # the difference to find
  [[setup]]
  id = \"old\"
  cda_m2 = 0.28              # guesses are good enough
  crr = 0.0046
  [[setup]]
  id = \"new\"
  cda_m2 = 0.28
  crr = 0.0042

Winds, noise and devices have defaults with sources; «loopwright schema plan» lists every key.")]
pub struct PlanArguments {
    /// A plan file (.toml)
    #[arg(value_name = "PLAN.toml")]
    input: PathBuf,
    /// Folder for the run sheet, the page, plan.json and the figure
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    figures: FigureStyle,
}

pub fn run(arguments: &PlanArguments, format: Format, units: Units) -> Result<(), Failure> {
    if let Some(out) = &arguments.out {
        results::check(out, Kind::Plan)?;
    }
    let plan = plan(&arguments.input)?;
    let bar = output::progress_bar(forecast_parts(&plan) as u64, "part {pos} of {len} of the forecast {wide_bar}");
    let forecast = forecast_in_parts(&plan, &|| bar.inc(1));
    bar.finish_and_clear();
    let forecast = forecast?;
    if let Some(out) = &arguments.out {
        let files = files(&plan, &forecast, units, &(&arguments.figures).into())?;
        let written = results::write(out, Kind::Plan, &files)?;
        written.remarks().iter().for_each(|line| output::note(format, line));
    }
    match format {
        Format::Text => output::text(&forecast_text(&plan, &forecast, output::width(), units.into()))?,
        Format::Json => output::json(&forecast)?,
    }
    output::note(
        format,
        &match &arguments.out {
            Some(out) => format!(
                "What it can find is {}, the run sheet {}",
                out.join("plan.html").display(),
                out.join("run-sheet.html").display()
            ),
            None => "For the run sheet to print, name a folder with --out".to_string(),
        },
    );
    Ok(())
}

fn files(plan: &Plan, forecast: &Forecast, units: Units, style: &Style) -> Result<Vec<ResultFile>, Failure> {
    let sheet = run_sheet(plan, &lap_targets(plan), units.into())?;
    let json = serde_json::to_string_pretty(forecast).map_err(|e| Failure::unwritable("plan.json", &e.into()))?;
    let file = |name: &str, text: String| ResultFile { name: name.into(), bytes: text.into_bytes() };
    let drawn = |style: &Style| {
        laps_curves(plan, forecast, units.into()).and_then(|c| curves::draw(&c, style)).into_iter().collect()
    };
    let figures: Vec<Figure> = drawn(style);
    let narrow: Vec<Figure> = drawn(&style.for_phone());
    let mut files = vec![
        file("plan.html", forecast_page(plan, forecast, &figures, &narrow, units.into())?),
        file("run-sheet.html", sheet.html),
        file("run-sheet.md", sheet.markdown),
        file("plan.json", format!("{json}\n")),
    ];
    for figure in figures {
        let caption = file("plan-caption.txt", format!("{}\n", figure.caption));
        files.extend(of_figure("plan", figure));
        files.push(caption);
    }
    Ok(files)
}
