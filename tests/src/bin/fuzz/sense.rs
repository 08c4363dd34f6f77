//! How the program feels an input: processor time, memory, code that was reached, and where it writes down what it is
//! at, so that it is known when the process dies of it.
#![expect(
    unsafe_code,
    reason = "an allocator that counts, and the counters that a compiler's instruments keep"
)]

use std::alloc::{GlobalAlloc, Layout, System};
use std::fs::{self, File, OpenOptions};
use std::io::{self, Error};
use std::os::unix::fs::FileExt as _;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::time::Duration;

use backstraight_tests::fuzz::run::Senses;
use rustix::time::{ClockId, clock_gettime};

/// Bytes beyond which there are no more: an input that wants them dies here rather than with the machine.
const NO_MORE: usize = 2 << 30;
/// Bytes of counters that are looked at together.
const BLOCK: usize = 64;

static LIVE: AtomicUsize = AtomicUsize::new(0);
static PEAK: AtomicUsize = AtomicUsize::new(0);
static RUNS: AtomicU64 = AtomicU64::new(0);

/// The system's allocator, counted.
struct Counted;

#[global_allocator]
static ALLOCATOR: Counted = Counted;

fn more(bytes: usize) -> bool {
    let live = LIVE.fetch_add(bytes, Ordering::Relaxed) + bytes;
    PEAK.fetch_max(live, Ordering::Relaxed);
    live <= NO_MORE
}

fn less(bytes: usize) {
    LIVE.fetch_sub(bytes, Ordering::Relaxed);
}

// SAFETY: everything is handed on to the system's allocator as it came; refusing is allowed.
unsafe impl GlobalAlloc for Counted {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        if more(layout.size()) { unsafe { System.alloc(layout) } } else { core::ptr::null_mut() }
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        if more(layout.size()) { unsafe { System.alloc_zeroed(layout) } } else { core::ptr::null_mut() }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        less(layout.size());
        unsafe { System.dealloc(at, layout) }
    }

    unsafe fn realloc(&self, at: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        if !more(size) {
            less(size);
            return core::ptr::null_mut();
        }
        let new = unsafe { System.realloc(at, layout, size) };
        less(if new.is_null() { size } else { layout.size() });
        new
    }
}

/// Where the instruments keep their counters; none in an ordinary build.
static COUNTERS: Mutex<Vec<(usize, usize)>> = Mutex::new(Vec::new());

/// Called at the start by what `-C passes=sancov-module` put into the code, once for each part of it.
#[unsafe(no_mangle)]
extern "C" fn __sanitizer_cov_8bit_counters_init(begin: *mut u8, end: *mut u8) {
    let mut all = COUNTERS.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let span = (begin as usize, end as usize);
    if span.0 < span.1 && !all.contains(&span) {
        all.push(span);
    }
}

/// Feels inputs.
#[derive(Debug)]
pub(crate) struct Sense {
    note: Option<File>,
    bytes: Vec<u8>,
    base: usize,
    /// Counters and, for each, how often it was ever reached in one input, as bits.
    seen: Vec<(usize, Vec<u8>)>,
}

impl Sense {
    /// Notes inputs in that file, if any.
    ///
    /// # Errors
    /// When it cannot be made.
    pub(crate) fn new(note: Option<&Path>) -> io::Result<Sense> {
        let open = |path| OpenOptions::new().create(true).write(true).truncate(true).open(path);
        let spans = COUNTERS.lock().unwrap_or_else(std::sync::PoisonError::into_inner).clone();
        let seen = spans.into_iter().map(|(from, to)| (from, vec![0; to - from])).collect();
        Ok(Sense { note: note.map(open).transpose()?, bytes: Vec::new(), base: 0, seen })
    }
}

impl Senses for Sense {
    fn cpu(&mut self) -> Duration {
        let now = clock_gettime(ClockId::ThreadCPUTime);
        Duration::new(now.tv_sec.unsigned_abs(), u32::try_from(now.tv_nsec).unwrap_or(0))
    }

    fn begin(&mut self, input: &[u8]) {
        let runs = RUNS.fetch_add(1, Ordering::Relaxed) + 1;
        if let Some(file) = &self.note {
            let bytes = &mut self.bytes;
            bytes.clear();
            bytes.extend_from_slice(&runs.to_le_bytes());
            bytes.extend_from_slice(&(input.len() as u64).to_le_bytes());
            bytes.extend_from_slice(input);
            // Without the note a death is only harder to find again.
            let _ = file.write_all_at(bytes, 0);
        }
        self.base = LIVE.load(Ordering::Relaxed);
        PEAK.store(self.base, Ordering::Relaxed);
    }

    fn peak(&mut self) -> usize {
        PEAK.load(Ordering::Relaxed).saturating_sub(self.base)
    }

    fn news(&mut self) -> usize {
        let mut news = 0;
        for (from, seen) in &mut self.seen {
            // SAFETY: the instruments own these bytes for as long as the program runs; this is the one thread that
            // looks at them, and what other threads count meanwhile is lost, no more.
            let counters = unsafe { core::slice::from_raw_parts_mut(*from as *mut u8, seen.len()) };
            let (blocks, last) = counters.as_chunks_mut::<BLOCK>();
            let (seen_blocks, seen_last) = seen.as_chunks_mut::<BLOCK>();
            for (block, seen) in blocks.iter_mut().zip(seen_blocks) {
                // Most of the code is not reached by most inputs: this is the loop that has to be quick.
                if block.iter().fold(0, |any, c| any | c) != 0 {
                    news += look(block, seen);
                }
            }
            news += look(last, seen_last);
        }
        news
    }

    fn reached(&self) -> usize {
        self.seen.iter().flat_map(|(_, seen)| seen).filter(|seen| **seen != 0).count()
    }
}

/// Takes counters, and how many of them say something new.
fn look(counters: &mut [u8], seen: &mut [u8]) -> usize {
    let mut news = 0;
    for (counter, seen) in counters.iter_mut().zip(seen) {
        let often = OFTEN[usize::from(core::mem::take(counter))];
        news += usize::from(often & !*seen != 0);
        *seen |= often;
    }
    news
}

/// How often, roughly, as one bit: a loop that runs on is news, one round more is none.
static OFTEN: [u8; 256] = {
    let mut all = [128; 256];
    let mut n = 0;
    while n < 128 {
        all[n] = match n {
            0 => 0,
            1 => 1,
            2 => 2,
            3 => 4,
            4..=7 => 8,
            8..=15 => 16,
            16..=31 => 32,
            _ => 64,
        };
        n += 1;
    }
    all
};

/// What a process noted last: how many inputs it began, and the last of them.
///
/// # Errors
/// When the file cannot be read.
pub(crate) fn noted(at: &Path) -> io::Result<(u64, Vec<u8>)> {
    let bytes = fs::read(at)?;
    let short = || Error::other("the process died before its first input");
    let (runs, rest) = bytes.split_first_chunk::<8>().ok_or_else(short)?;
    let (len, rest) = rest.split_first_chunk::<8>().ok_or_else(short)?;
    let len = usize::try_from(u64::from_le_bytes(*len)).unwrap_or(usize::MAX);
    Ok((u64::from_le_bytes(*runs), rest.get(..len).ok_or_else(short)?.to_vec()))
}

/// Ends the process when no input ended for so long.
pub(crate) fn give_up_after(limit: Duration) {
    std::thread::spawn(move || {
        let mut before = u64::MAX;
        loop {
            std::thread::sleep(limit);
            let now = RUNS.load(Ordering::Relaxed);
            if now == before {
                std::process::abort();
            }
            before = now;
        }
    });
}
