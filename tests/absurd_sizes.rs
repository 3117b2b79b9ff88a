//! Files of absurd sizes and headers: refused with a reason or read, in bounded time and memory.
//!
//! The program itself runs, as a process of its own; Linux tells the most memory that it ever had in `/proc/PID/status`
//! (`VmHWM`, proc(5)), and its processor time in `/proc/PID/stat` also once it has ended and nobody has asked for its status yet.

#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

use std::io::{BufWriter, Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// What a reader may take at most.
const MOST_MIB: f64 = 256.0;
/// Processor time, so that a busy machine does not count. A program that was not optimised is about four times slower.
const MOST_CPU_S: f64 = if cfg!(debug_assertions) { 4.0 } else { 1.0 };
/// Of `/proc/PID/stat`: a hundred ticks a second on every Linux (proc(5), sysconf(_SC_CLK_TCK)).
const TICKS_A_SECOND: f64 = 100.0;

/// What became of a run.
struct Run {
    exit: i32,
    says: String,
    most_mib: f64,
    cpu_s: f64,
}

fn run(folder: &Path, words: &str) -> Run {
    let mut child = Command::new(env!("CARGO_BIN_EXE_boxwright"))
        .args(words.split(' '))
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let proc = Path::new("/proc").join(child.id().to_string());
    let (mut most_mib, mut stderr) = (0.0f64, child.stderr.take().unwrap());
    let heard = std::thread::spawn(move || {
        let mut says = Vec::new();
        stderr.read_to_end(&mut says).unwrap();
        String::from_utf8_lossy(&says).into_owned()
    });
    let cpu_s = loop {
        let status = std::fs::read_to_string(proc.join("status")).unwrap();
        let line = |key: &str| status.lines().find_map(|line| line.strip_prefix(key)).map(str::trim);
        if let Some(kib) = line("VmHWM:") {
            most_mib = most_mib.max(kib.trim_end_matches(" kB").parse::<f64>().unwrap() / 1024.0);
        }
        if line("State:").is_some_and(|state| state.starts_with('Z')) {
            let stat = std::fs::read_to_string(proc.join("stat")).unwrap();
            // Behind the name in brackets: user time is the 12th, system time the 13th.
            let ticks = stat.rsplit_once(')').unwrap().1.split_whitespace().skip(11).take(2);
            break ticks.map(|ticks| ticks.parse::<f64>().unwrap()).sum::<f64>() / TICKS_A_SECOND;
        }
        std::thread::sleep(Duration::from_millis(1));
    };
    let exit = child.wait().unwrap().code().unwrap_or(-1);
    Run { exit, says: heard.join().unwrap(), most_mib, cpu_s }
}

fn file(folder: &Path, name: &str, write: impl FnOnce(&mut dyn Write) -> std::io::Result<()>) {
    let mut file = BufWriter::new(std::fs::File::create(folder.join(name)).unwrap());
    write(&mut file).unwrap();
    file.flush().unwrap();
}

fn repeated(folder: &Path, name: &str, before: &str, piece: &str, times: usize, after: &str) {
    file(folder, name, |file| {
        file.write_all(before.as_bytes())?;
        (0..times).try_for_each(|_| file.write_all(piece.as_bytes()))?;
        file.write_all(after.as_bytes())
    });
}

/// Within time and memory, with this exit status, and saying this.
fn bounded(folder: &Path, words: &str, exit: i32, says: &str) {
    let run = run(folder, words);
    // What ends before it was looked at once has taken no time either.
    let was_seen = run.most_mib > 1.0 || run.cpu_s < 0.1;
    assert!(run.most_mib <= MOST_MIB && was_seen, "{words}: {:.0} MiB\n{}", run.most_mib, run.says);
    assert!(run.cpu_s <= MOST_CPU_S, "{words}: {:.2} s\n{}", run.cpu_s, run.says);
    assert_eq!(run.exit, exit, "{words}: {}", run.says);
    assert!(run.says.contains(says), "{words}: {}\ninstead of {says}", run.says);
    // An error is a sentence with an advice, however large the file.
    assert!(exit != 1 || (run.says.contains("\n  try: ") && run.says.len() < 1000), "{words}: {}", run.says);
}

fn wav(channels: u16, rate_hz: u32, block: u16, bits: u16, data_bytes: u32, data: &[u8]) -> Vec<u8> {
    let mut bytes = [b"RIFF", &u32::MAX.to_le_bytes()[..], b"WAVEfmt ", &16u32.to_le_bytes()].concat();
    bytes.extend([1u16.to_le_bytes(), channels.to_le_bytes()].concat());
    bytes.extend([rate_hz.to_le_bytes(), rate_hz.wrapping_mul(u32::from(block)).to_le_bytes()].concat());
    bytes.extend([block.to_le_bytes(), bits.to_le_bytes()].concat());
    bytes.extend([b"data", &data_bytes.to_le_bytes()[..], data].concat());
    bytes
}

#[test]
fn a_recording_takes_what_it_holds_and_not_what_its_header_claims() {
    let folder = tempfile::tempdir().unwrap();
    let (at, words) = (folder.path(), "response t.wav --excitation t.wav");
    let put = |bytes: Vec<u8>| std::fs::write(at.join("t.wav"), bytes).unwrap();
    put(wav(65_535, 48_000, 65_535, 8, u32::MAX - 1, &[0; 400]));
    bounded(at, words, 1, "t.wav");
    put(wav(32_767, 48_000, 65_534, 16, u32::MAX - 1, &[0; 400]));
    bounded(at, words, 1, "holds no sample");
    put(wav(32_767, 48_000, 65_534, 16, u32::MAX - 1, &[0; 4 * 65_534]));
    bounded(at, words, 1, "t.wav");
    put(wav(1, u32::MAX, 2, 16, 4, &[0; 4]));
    bounded(at, words, 1, "a sample rate of 4294967295 Hz");
    put(wav(1, 48_000, 2, 16, 0xffff_fffe, &[0; 4]));
    bounded(at, words, 1, "t.wav");
}

#[test]
fn a_table_has_so_many_points_lines_and_columns_and_no_more() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let words = "driver t.csv";
    repeated(at, "t.csv", "", "20 1\n", 1_000_001, "");
    bounded(at, words, 1, "more than 1000000 points");
    repeated(at, "t.csv", "", "#\n", 20_000_000, "");
    bounded(at, words, 1, "more than 10000 lines without numbers");
    repeated(at, "t.csv", "20", ",1", 20_000_000, "\n");
    bounded(at, words, 1, "no more columns");
    repeated(at, "t.csv", "20 ", "1", 40_000_000, "\n");
    bounded(at, words, 1, "line 1");
    repeated(at, "t.csv", "", "1\n", 20_000_000, "");
    bounded(at, words, 1, "line");
    repeated(at, "t.csv", "", "20 1\n", 10_500_000, "");
    bounded(at, words, 1, "the limit for this kind of file is");
    let mut hz = 0;
    file(at, "t.csv", |file| {
        (0..1_000_000).try_for_each(|_| {
            hz += 1;
            writeln!(file, "{hz} 8 0")
        })
    });
    bounded(at, words, 1, "");
}

#[test]
fn a_one_port_file_has_so_many_points_and_no_more() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    repeated(at, "t.s1p", "# Hz Z RI R 1\n", "1 ", 20_000_000, "\n");
    bounded(at, "driver t.s1p", 1, "more than 1000000 points");
    repeated(at, "t.s1p", "# Hz Z RI R 1\n", "[x]\n", 10_000_000, "");
    bounded(at, "driver t.s1p", 1, "");
}

#[test]
fn a_job_is_what_a_person_types() {
    let folder = tempfile::tempdir().unwrap();
    let (at, words) = (folder.path(), "simulate job.toml");
    repeated(at, "job.toml", "a = ", "[", 50_000_000, "");
    bounded(at, words, 1, "50000004 bytes, the limit for this kind of file is 1048576");
    repeated(at, "job.toml", "a = ", "[", 1_000_000, "");
    bounded(at, words, 1, "line 1, column");
    repeated(at, "job.toml", "a = ", "{a=", 300_000, "");
    bounded(at, words, 1, "line 1, column");
    repeated(at, "job.toml", "a", ".a", 500_000, " = 1");
    bounded(at, words, 1, "job.toml");
    repeated(at, "job.toml", "[a", ".a", 500_000, "]\nb = nan");
    bounded(at, words, 1, "job.toml");
    repeated(at, "job.toml", "a = [", "0,", 500_000, "]");
    bounded(at, words, 1, "\"a\" is not known here");
    repeated(at, "job.toml", "", "[[speaker.a.ways]]\n", 50_000, "");
    bounded(at, words, 1, "job.toml");
    file(at, "job.toml", |file| (0..90_000).try_for_each(|at| writeln!(file, "[box.b{at}]")));
    bounded(at, words, 1, "job.toml");
    repeated(at, "job.toml", "[job]\nname = \"", "x", 1_000_000, "\"\nnome = 1");
    bounded(at, words, 1, "did you mean \"name\"");
    repeated(at, "job.toml", "[job]\n", "y", 1_000_000, " = 1");
    bounded(at, words, 1, "is not known here");
}

#[test]
fn a_network_is_that_of_a_loudspeaker() {
    let folder = tempfile::tempdir().unwrap();
    let (at, words) = (folder.path(), "network n.cir");
    file(at, "n.cir", |file| (0..1_000_000).try_for_each(|at| writeln!(file, "R{at} in n{at} 1")));
    bounded(at, words, 1, "the limit for this kind of file is 1048576");
    file(at, "n.cir", |file| (0..50_000).try_for_each(|at| writeln!(file, "R{at} in n{at} 1")));
    bounded(at, words, 1, "line 101: more than 100 parts");
    repeated(at, "n.cir", "R2 in 0 4\nR1 in 0", "\n+ 8", 200_000, "");
    bounded(at, words, 1, "is not understood behind a value");
    repeated(at, "n.cir", "R2 in 0 4\nR1 in ", "x", 1_000_000, "");
    bounded(at, words, 1, "has 3 words");
    repeated(at, "n.cir", "R1 in 0 8\n", "V1 in 0 AC 1\n", 70_000, "");
    bounded(at, words, 0, "");
    file(at, "n.cir", |file| {
        writeln!(file, "R0 in n0 1")?;
        (1..100).try_for_each(|at| writeln!(file, "R{at} n{} n{at} 1", at - 1))
    });
    bounded(at, words, 0, "");
}

#[test]
fn a_result_that_is_read_again_is_bounded() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    std::fs::write(at.join("z.csv"), "frequency_hz,magnitude_ohm,phase_deg\n20,7,10\n40,30,0\n80,6,-20\n").unwrap();
    let words = "box z.csv --kind closed --driver d.json";
    repeated(at, "d.json", "", "[", 100_000, "");
    bounded(at, words, 1, "d.json: line 1, column");
    repeated(at, "d.json", "{\"a\":", "[", 100_000, "");
    bounded(at, words, 1, "EOF while parsing a list");
    repeated(at, "d.json", "{\"a\":[0", ",0", 20_000_000, "]}");
    bounded(at, words, 1, "its schema is none");
    repeated(at, "d.json", "{\"schema\":\"", "x", 20_000_000, "\"}");
    bounded(at, words, 1, "its schema is xxx");
    std::fs::remove_file(at.join("d.json")).unwrap();

    repeated(at, "r.json", "{\"schema\":\"boxwright/box/1\",\"a\":[0", ",[]", 10_000_000, "]}");
    bounded(at, "status", 0, "");
    bounded(at, "report --out r.html", 0, "");
    repeated(at, "r.json", "{\"schema\":\"boxwright/box/1\",\"a\":[0", ",[]", 1_300_000, "]}");
    bounded(at, "report --out r.html", 0, "");
}

/// What options can say: a number that is none is wrong usage, one that nobody means is refused with a reason.
#[test]
fn options_at_their_limits_are_refused_with_a_reason() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    std::fs::write(at.join("n.cir"), "C1 in w 10u\n").unwrap();
    for number in ["nan", "inf", "-inf", "1e999", "-1e999", "0x1", "1e", ""] {
        for words in ["network n.cir --drive-v", "signal sweep --seconds", "network n.cir --load"] {
            let word = if words.ends_with("load") { format!("w={number}") } else { number.to_owned() };
            let run = run(at, &format!("{words} {word}"));
            // A load that is no number is the name of a curve that is not there.
            assert!(run.exit == 2 || run.exit == 1 && words.ends_with("load"), "{words} {word}: {}", run.says);
        }
    }
    for (words, exit, says) in [
        ("network n.cir --load w=8 --band 1e-300:1e300", 1, "a frequency grid of"),
        ("network n.cir --load w=8 --band 20:20", 2, "no band that rises"),
        ("network n.cir --load w=-0", 1, "-0: can't read it"),
        ("network n.cir --load w=8 --drive-v=-0", 2, "is not more than 0"),
        ("network n.cir --load w=8 --points-per-octave 4294967296", 2, ""),
        ("network n.cir --load w=8 --points-per-octave 0", 2, ""),
        ("signal sweep --seconds 1e12", 2, "the range is"),
        ("signal sweep --seconds 1e300", 2, "the range is"),
        ("signal sweep --repeats 4294967295", 2, "the range is"),
        ("signal tone --seconds 1e300", 2, "the range is"),
        ("signal pink --seconds=-0", 2, "the range is"),
        ("signal burst --cycles 1e300", 2, "the range is"),
    ] {
        bounded(at, words, exit, says);
    }
}
