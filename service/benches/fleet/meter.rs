//! Measures a piece of work: time, memory, processor time of each thread, and time of each part.

use anyhow::Result;
use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tracing::span::{Attributes, Id};
use tracing_subscriber::layer::{Context, Layer, SubscriberExt as _};
use tracing_subscriber::registry::LookupSpan;

/// Clock ticks per second in `/proc`, the same on every Linux.
const TICKS: f64 = 100.0;

/// Times the spans of the refresh, from beginning to end.
#[derive(Clone, Default)]
pub struct Parts(Arc<Mutex<BTreeMap<&'static str, Duration>>>);

/// When a span began.
struct Begun(Instant);

impl Parts {
    /// Times every span of the service from now on.
    pub fn listen() -> Self {
        let parts = Self::default();
        let subscriber = tracing_subscriber::registry().with(parts.clone());
        // This fails only if there is a subscriber already. `main` calls it first, so there is none.
        let _ = tracing::subscriber::set_global_default(subscriber);
        parts
    }

    fn take(&self) -> BTreeMap<&'static str, Duration> {
        std::mem::take(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl<S: tracing::Subscriber + for<'a> LookupSpan<'a>> Layer<S> for Parts {
    fn enabled(&self, metadata: &tracing::Metadata<'_>, _: Context<'_, S>) -> bool {
        metadata.target().starts_with("eavesward_service")
    }

    fn on_new_span(&self, _: &Attributes<'_>, id: &Id, cx: Context<'_, S>) {
        if let Some(span) = cx.span(id) {
            span.extensions_mut().insert(Begun(Instant::now()));
        }
    }

    fn on_close(&self, id: Id, cx: Context<'_, S>) {
        let Some(span) = cx.span(&id) else { return };
        let took = span.extensions().get::<Begun>().map_or(Duration::ZERO, |begun| begun.0.elapsed());
        let mut parts = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        *parts.entry(span.name()).or_default() += took;
    }
}

/// A measurement under way.
pub struct Running {
    parts: Parts,
    threads: HashMap<String, Thread>,
    begun: Instant,
}

/// What was measured.
pub struct Figures {
    seconds: f64,
    peak_mb: f64,
    parts: BTreeMap<&'static str, Duration>,
    /// Processor seconds by name of thread.
    threads: BTreeMap<String, f64>,
}

#[derive(Clone)]
struct Thread {
    name: String,
    ticks: u64,
}

/// Threads of this process by id, with the processor time of each.
fn threads() -> Result<HashMap<String, Thread>> {
    let mut threads = HashMap::new();
    for entry in fs::read_dir("/proc/self/task")? {
        let path = entry?.path();
        let Ok(stat) = fs::read_to_string(path.join("stat")) else { continue };
        let Some((head, tail)) = stat.rsplit_once(')') else { continue };
        let name =
            head.split_once('(').map_or("", |(_, name)| name).trim_end_matches(|c: char| c.is_ascii_digit());
        let mut fields = tail.split_whitespace().skip(11).map(|field| field.parse::<u64>().unwrap_or(0));
        let ticks = fields.next().unwrap_or(0) + fields.next().unwrap_or(0);
        threads.insert(
            path.display().to_string(),
            Thread { name: name.trim_end_matches('-').to_owned(), ticks },
        );
    }
    Ok(threads)
}

/// The peak memory of this process since the peak was last reset, MB.
fn peak_mb() -> Result<f64> {
    let status = fs::read_to_string("/proc/self/status")?;
    let kb = status.lines().find_map(|line| line.strip_prefix("VmHWM:")?.trim().strip_suffix("kB"));
    Ok(kb.map_or("0", str::trim).parse::<f64>()? / 1000.0)
}

impl Figures {
    /// Begins to measure.
    pub fn begin(parts: &Parts) -> Result<Running> {
        // Resets the peak.
        fs::write("/proc/self/clear_refs", "5")?;
        parts.take();
        Ok(Running { parts: parts.clone(), threads: threads()?, begun: Instant::now() })
    }

    /// Prints the figures.
    #[expect(clippy::print_stdout, reason = "a benchmark prints its figures")]
    pub fn print(&self, systems: u32) {
        let Self { seconds, peak_mb, .. } = self;
        println!("{seconds:.2} s, {:.0} systems/s, peak {peak_mb:.0} MB", f64::from(systems) / seconds);
        for (part, took) in &self.parts {
            let took = took.as_secs_f64();
            println!("  part {part:<20} {took:7.2} s {:5.1} % of the whole", 100.0 * took / seconds);
        }
        let all: f64 = self.threads.values().sum();
        for (name, took) in self.threads.iter().filter(|(_, took)| **took >= 0.01) {
            println!("  processor {name:<15} {took:7.2} s {:5.1} %", 100.0 * took / all);
        }
        println!("  processor, all          {all:7.2} s");
    }
}

impl Running {
    /// Ends the measurement.
    pub fn end(self) -> Result<Figures> {
        let seconds = self.begun.elapsed().as_secs_f64();
        let peak_mb = peak_mb()?;
        let mut took: BTreeMap<String, f64> = BTreeMap::new();
        for (id, thread) in threads()? {
            let before = self.threads.get(&id).map_or(0, |before| before.ticks);
            *took.entry(thread.name).or_default() += thread.ticks.saturating_sub(before) as f64 / TICKS;
        }
        Ok(Figures { seconds, peak_mb, parts: self.parts.take(), threads: took })
    }
}
