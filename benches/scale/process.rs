//! A bot in a process of its own on the first core, and what the kernel says of it.

use std::fs;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

pub struct Process(Child);

/// Whoever feeds the bots stays off their core.
pub fn pin_self() {
    let me = std::process::id().to_string();
    let pinned = Command::new("taskset").args(["-a", "-p", "-c", "1", &me]).stdout(Stdio::null()).status();
    if !pinned.is_ok_and(|status| status.success()) {
        println!("taskset can't pin to a second core: the figures are of everything on all cores");
    }
}

impl Process {
    pub fn start(bot: &str, url: &str, database: &str) -> Process {
        let program = std::env::current_exe().unwrap();
        let arguments = ["bot", bot, url, database];
        let pinned = Command::new("taskset").args(["-c", "0"]).arg(&program).args(arguments).spawn();
        Process(pinned.or_else(|_| Command::new(&program).args(arguments).spawn()).unwrap())
    }

    fn proc(&self, file: &str) -> String {
        fs::read_to_string(format!("/proc/{}/{file}", self.0.id())).unwrap()
    }

    /// User and system time of all its threads so far.
    pub fn cpu(&self) -> Duration {
        let stat = self.proc("stat");
        // The name may hold anything, also brackets; the numbers come after the last of them.
        let fields: Vec<&str> = stat.rsplit_once(')').unwrap().1.split_whitespace().collect();
        let ticks: u64 = [11, 12].iter().map(|n| fields[*n].parse::<u64>().unwrap()).sum();
        // Linux tells a hundredth of a second to all programs.
        Duration::from_millis(ticks * 10)
    }

    /// The most memory it had, in KiB.
    pub fn peak(&self) -> u64 {
        let status = self.proc("status");
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
        line.trim().trim_end_matches(" kB").parse().unwrap()
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}
