//! The scene as SVG. It needs no font and no picture from elsewhere, and follows the reader's light or dark theme.

use std::fmt::Write as _;

use eavesward_engine::Day;

use crate::scene::{Point, Scene};

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 304.0;
/// The accumulated figure is drawn in this frame.
const LEFT: f64 = 66.0;
const RIGHT: f64 = 702.0;
const TOP: f64 = 58.0;
const FLOOR: f64 = 214.0;
/// The runoff is drawn below it, between these two.
const RUNOFF_TOP: f64 = 226.0;
const RUNOFF_FLOOR: f64 = 270.0;
/// Top of the scale in g of dry leaf per m2 of screen, and the step between two marks on it.
const MOST_G: u32 = 600;
const STEP_G: usize = 200;
/// Top of the scale of runoff, mm a day.
const MOST_MM: f64 = 30.0;
/// With 80 % chance the limit lies between the median divided and multiplied by `e` to this times the log-sd.
const EIGHTY_PER_CENT: f64 = 1.2816;
/// Narrower months have no room for a name.
const NARROWEST_MONTH: f64 = 70.0;

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

const STYLE: &str = "
text{font:11.5px system-ui,-apple-system,'Segoe UI',Roboto,sans-serif;fill:#4d5763}
.title{font-size:15px;font-weight:600}.title,.date{fill:#1c242e}.date{font-weight:600}.small{font-size:10.5px}
path{fill:none}.card{fill:#fcfcfa;stroke:#d8dbde}.axis{stroke:#aab2b9}
.limit{stroke:#b0660f;stroke-width:1.5}.doubt{fill:#d98a2b;fill-opacity:.14}.limit-text{fill:#8a4f0a}
.total{stroke:#1f6a96;stroke-width:2.2;stroke-linejoin:round}.below{fill:#1f6a96;fill-opacity:.09}
.ahead{stroke:#1f6a96;stroke-width:1.8;stroke-dasharray:.1 4.5;stroke-linecap:round}
.weather{fill:#1f6a96;fill-opacity:.15}.runoff{fill:#5b9cc0}.today{stroke:#7b858f;stroke-dasharray:3 3}
.window{stroke:#1c242e;stroke-width:6;stroke-linecap:round;stroke-opacity:.22}
.drop{stroke:#1c242e;stroke-width:1.2}.likely{fill:#fcfcfa;stroke:#1c242e;stroke-width:2}
@media(prefers-color-scheme:dark){text{fill:#a8b3be}.title,.date{fill:#eef2f5}
.card{fill:#141a20;stroke:#2c353e}.axis{stroke:#515c67}.limit{stroke:#e2a04a}.doubt{fill:#e2a04a}
.limit-text{fill:#ebb873}.total,.ahead{stroke:#6fbbe6}.below,.weather{fill:#6fbbe6}.runoff{fill:#4a8fb5}
.today{stroke:#8a95a0}.window,.drop{stroke:#eef2f5}.likely{fill:#141a20;stroke:#eef2f5}}
";

/// The drawing: the same bytes for the same scene.
pub fn svg(scene: &Scene) -> String {
    let mut sheet = Sheet { scene, svg: String::new() };
    sheet.heading();
    sheet.axes();
    sheet.limit();
    sheet.total();
    sheet.ahead();
    sheet.runoff();
    sheet.dates();
    sheet.put("</svg>");
    sheet.svg
}

struct Sheet<'a> {
    scene: &'a Scene,
    svg: String,
}

impl Sheet<'_> {
    fn heading(&mut self) {
        let (cleaned, year) = (date(self.scene.cleaned), self.scene.cleaned.ymd().0);
        self.put(&format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" width=\"{WIDTH}\" \
             height=\"{HEIGHT}\" role=\"img\" aria-labelledby=\"title description\">"
        ));
        self.put("<title id=\"title\">Leaf on a debris screen climbs to its limit</title>");
        self.put(&format!("<desc id=\"description\">{}</desc>", self.description()));
        self.put(&format!("<style>{STYLE}</style>"));
        let (width, height) = (WIDTH - 1.0, HEIGHT - 1.0);
        self.put(&format!(r#"<rect class="card" x=".5" y=".5" width="{width}" height="{height}" rx="8"/>"#));
        self.text("title", "start", 18.0, 26.0, "When does this screen need cleaning?");
        let what = format!("Dry leaf on it since the cleaning of {cleaned} {year}, g per m² of screen");
        self.text("", "start", 18.0, 44.0, &what);
        self.text("small", "end", RIGHT, 26.0, "invented rain, the engine's forecast");
    }

    /// What a person who does not see the drawing wants to know.
    fn description(&self) -> String {
        let scene = self.scene;
        let [early, likely, late] = scene.window.map(date);
        let now = scene.accumulated.last().map_or(0.0, |(_, kg)| *kg);
        let (low, high) = limit_range(scene);
        format!(
            "A debris screen was cleaned on {}. Each day with runoff brings dry leaf to it: {} g per m² by {}. \
             Its limit is {} g per m², with 80 % chance between {} and {}. The leaf reaches the limit by {early} \
             with 10 % chance, by {likely} with 50 % and by {late} with 90 %. The rain is invented, the forecast is \
             the engine's own.",
            date(scene.cleaned),
            grams(now),
            date(scene.today),
            grams(scene.limit.median),
            grams(low),
            grams(high)
        )
    }

    fn axes(&mut self) {
        for g in (0..=MOST_G).step_by(STEP_G) {
            let at = y(f64::from(g) / 1000.0);
            self.line("axis", (LEFT - 5.0, at), (LEFT, at));
            self.text("small", "end", LEFT - 9.0, at + 4.0, &g.to_string());
        }
        self.line("axis", (LEFT, TOP), (LEFT, FLOOR));
        self.line("axis", (LEFT, FLOOR), (RIGHT, FLOOR));
        self.line("axis", (LEFT, RUNOFF_FLOOR), (RIGHT, RUNOFF_FLOOR));
        let mut from = self.scene.cleaned;
        while from < self.scene.end {
            let (year, month, _) = from.ymd();
            let (year, next) = if month == 12 { (year + 1, 1) } else { (year, month + 1) };
            let to = Day::from_ymd(year, next, 1).map_or(self.scene.end, |day| day.min(self.scene.end));
            let (left, right) = (self.x(from), self.x(to));
            if right - left >= NARROWEST_MONTH {
                let name = MONTHS[month as usize - 1];
                self.text("", "middle", f64::midpoint(left, right), RUNOFF_FLOOR + 18.0, name);
            }
            if to < self.scene.end {
                self.line("axis", (right, RUNOFF_FLOOR), (right, RUNOFF_FLOOR + 6.0));
            }
            from = to;
        }
    }

    /// A line across the whole time, in a band that holds the true limit with 80 % chance.
    fn limit(&mut self) {
        let (median, visits) = (self.scene.limit.median, self.scene.findings);
        let (low, high) = limit_range(self.scene);
        let (x, top, width, height) =
            (tenth(LEFT), tenth(y(high)), tenth(RIGHT - LEFT), tenth(y(low) - y(high)));
        self.put(&format!(r#"<rect class="doubt" x="{x}" y="{top}" width="{width}" height="{height}"/>"#));
        let at = y(median);
        self.line("limit", (LEFT, at), (RIGHT, at));
        let what = format!("limit {} g/m², learned from {visits} visits", grams(median));
        self.text("limit-text", "start", LEFT + 10.0, at - 8.0, &what);
        let doubt = format!("with 80 % chance between {} and {}", grams(low), grams(high));
        self.text("limit-text small", "start", LEFT + 10.0, at + 16.0, &doubt);
    }

    /// Level through the days without runoff, a step up on each day with it.
    fn total(&mut self) {
        let mut steps = String::new();
        let mut level = 0.0;
        for &(day, kg) in &self.scene.accumulated {
            let (x, y) = (tenth(self.x(day)), tenth(y(kg)));
            // Writing into a string does not fail.
            if steps.is_empty() {
                let _ = write!(steps, "M{x} {y}");
            } else if kg > level {
                let _ = write!(steps, "H{x}V{y}");
            }
            level = kg;
        }
        let today = tenth(self.x(self.scene.today));
        let (left, floor) = (tenth(LEFT), tenth(FLOOR));
        self.put(&format!(r#"<path class="below" d="{steps}H{today}V{floor}H{left}Z"/>"#));
        self.put(&format!(r#"<path class="total" d="{steps}H{today}"/>"#));
        self.text("small", "start", LEFT + 10.0, FLOOR - 34.0, "each day with runoff brings leaf");
    }

    /// What the weather may still bring: a band with 80 % chance, and the line in its middle.
    fn ahead(&mut self) {
        let [high, middle, low] = &self.scene.ahead;
        let band = self.joined(high.iter().chain(low.iter().rev()));
        let middle = self.joined(middle);
        let (x, y, width, height) = (tenth(LEFT), tenth(TOP), tenth(RIGHT - LEFT), tenth(FLOOR - TOP));
        self.put(&format!(
            r#"<clipPath id="frame"><rect x="{x}" y="{y}" width="{width}" height="{height}"/></clipPath>"#
        ));
        self.put(&format!(r#"<g clip-path="url(#frame)"><path class="weather" d="{band}Z"/>"#));
        self.put(&format!(r#"<path class="ahead" d="{middle}"/></g>"#));
    }

    fn runoff(&mut self) {
        let scene = self.scene;
        let width = 0.7 * (RIGHT - LEFT) / f64::from(scene.end.since(scene.cleaned));
        let mut bars = String::new();
        for (day, mm) in &scene.runoff {
            let left = tenth(self.x(*day) - width / 2.0);
            let height = tenth((RUNOFF_FLOOR - RUNOFF_TOP) * (mm / MOST_MM).min(1.0));
            let _ = write!(bars, "M{left} {RUNOFF_FLOOR}v-{height}h{}V{RUNOFF_FLOOR}", tenth(width));
        }
        self.put(&format!(r#"<path class="runoff" d="{bars}"/>"#));
        self.text("small", "end", LEFT - 9.0, RUNOFF_FLOOR - 14.0, "runoff");
        self.text("small", "end", LEFT - 9.0, RUNOFF_FLOOR - 1.0, "per day");
        if let Some((day, mm)) = scene.runoff.iter().max_by(|a, b| a.1.total_cmp(&b.1)) {
            let top = RUNOFF_FLOOR - (RUNOFF_FLOOR - RUNOFF_TOP) * (mm / MOST_MM).min(1.0);
            self.text("small", "middle", self.x(*day), top - 4.0, &format!("{mm:.0} mm"));
        }
        let to_come = "rain to come: the season's usual, with 80 % chance in the blue band";
        self.text("small", "start", self.x(scene.today) + 8.0, RUNOFF_FLOOR - 7.0, to_come);
    }

    fn dates(&mut self) {
        let scene = self.scene;
        let today = self.x(scene.today);
        self.line("today", (today, TOP), (today, RUNOFF_FLOOR));
        self.text("date", "start", today + 7.0, TOP + 11.0, &format!("today, {}", date(scene.today)));
        let [early, likely, late] = scene.window.map(|day| self.x(day));
        let at = y(scene.limit.median);
        self.line("window", (early, FLOOR), (late, FLOOR));
        self.line("drop", (likely, at), (likely, FLOOR));
        for (radius, at) in [("4", at), ("5", FLOOR)] {
            let (x, at) = (tenth(likely), tenth(at));
            self.put(&format!(r#"<circle class="likely" cx="{x}" cy="{at}" r="{radius}"/>"#));
        }
        for ((day, chance), class) in scene
            .window
            .iter()
            .zip(["10 % chance", "50 % chance", "90 % chance"])
            .zip(["small", "date", "small"])
        {
            let x = self.x(*day);
            self.text(class, "middle", x, FLOOR + 19.0, &date(*day));
            self.text("small", "middle", x, FLOOR + 32.0, chance);
        }
    }

    fn x(&self, day: Day) -> f64 {
        let whole = self.scene.end.since(self.scene.cleaned);
        LEFT + (RIGHT - LEFT) * f64::from(day.since(self.scene.cleaned)) / f64::from(whole)
    }

    fn joined<'p>(&self, points: impl IntoIterator<Item = &'p Point>) -> String {
        let mut path = String::new();
        for (day, kg) in points {
            let to = if path.is_empty() { 'M' } else { 'L' };
            let _ = write!(path, "{to}{} {}", tenth(self.x(*day)), tenth(y(*kg)));
        }
        path
    }

    fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        let [x1, y1, x2, y2] = [from.0, from.1, to.0, to.1].map(tenth);
        self.put(&format!(r#"<path class="{class}" d="M{x1} {y1}L{x2} {y2}"/>"#));
    }

    fn text(&mut self, class: &str, anchor: &str, x: f64, y: f64, text: &str) {
        let (x, y) = (tenth(x), tenth(y));
        self.put(&format!(r#"<text class="{class}" text-anchor="{anchor}" x="{x}" y="{y}">{text}</text>"#));
    }

    fn put(&mut self, element: &str) {
        self.svg.push_str(element);
        self.svg.push('\n');
    }
}

fn y(kg: f64) -> f64 {
    FLOOR - (FLOOR - TOP) * 1000.0 * kg / f64::from(MOST_G)
}

/// The limit is between these with 80 % chance.
fn limit_range(scene: &Scene) -> (f64, f64) {
    let factor = (EIGHTY_PER_CENT * scene.limit.log_sd).exp();
    (scene.limit.median / factor, scene.limit.median * factor)
}

/// A length to a tenth.
fn tenth(x: f64) -> String {
    let text = format!("{x:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// Kilograms as grams, to the next ten.
fn grams(kg: f64) -> String {
    format!("{:.0}", (kg * 100.0).round() * 10.0)
}

fn date(day: Day) -> String {
    let (_, month, day) = day.ymd();
    format!("{day} {}", MONTHS[month as usize - 1])
}
