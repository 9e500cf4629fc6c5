//! A private PostgreSQL cluster on loopback, from the binaries of Debian's package `postgresql`. It is started once a test
//! run, owns a temporary directory, and is stopped and removed when the test process ends, however that ends: it lives
//! for as long as the pipe to it is open.

use std::io::{BufRead, BufReader};
use std::net::TcpListener;
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};

use sqlx::{AnyConnection, AssertSqlSafe, Connection};

const SCRIPT: &str = r#"
dir=$(mktemp -d) || exit 1
trap 'pg_ctl -D "$dir/data" -m immediate stop >/dev/null 2>&1; rm -rf "$dir"' EXIT
trap 'exit 1' INT TERM HUP
cd "$dir" || exit 1
initdb -D data -U firstout -A trust -E UTF8 --no-sync >/dev/null || exit 1
pg_ctl -D data -l log -w -o "-c listen_addresses=127.0.0.1 -c fsync=off -p $PORT -k $dir" start >/dev/null || { cat log >&2; exit 1; }
echo ready
cat >/dev/null
"#;

struct Cluster {
    port: u16,
    _open: ChildStdin,
}

/// The address of a new, empty database.
pub async fn database() -> String {
    static CLUSTER: OnceLock<Cluster> = OnceLock::new();
    static NEXT: AtomicU32 = AtomicU32::new(1);
    let port = CLUSTER.get_or_init(start).port;
    let name = format!("test_{}", NEXT.fetch_add(1, Ordering::Relaxed));
    let at = |database: &str| format!("postgres://firstout@127.0.0.1:{port}/{database}?sslmode=disable");
    sqlx::any::install_default_drivers();
    let mut connection = AnyConnection::connect(&at("postgres")).await.unwrap();
    let create = AssertSqlSafe(format!("CREATE DATABASE {name}"));
    sqlx::query(create).execute(&mut connection).await.unwrap();
    at(&name)
}

fn start() -> Cluster {
    let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let mut child = as_ordinary_user()
        .env("PORT", port.to_string())
        .env("PATH", format!("{}:/usr/bin:/bin:/usr/sbin:/sbin", binaries().display()))
        .args(["sh", "-c", SCRIPT])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("a shell can be started");
    let open = child.stdin.take().unwrap();
    wait_until_ready(&mut child);
    Cluster { port, _open: open }
}

fn wait_until_ready(child: &mut Child) {
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    assert_eq!(line.trim(), "ready", "the PostgreSQL cluster did not start; its log is above");
}

/// PostgreSQL refuses to run as root; then the package's own user runs it.
fn as_ordinary_user() -> Command {
    let root = Command::new("id").arg("-u").output().unwrap().stdout == b"0\n";
    if !root {
        return Command::new("env");
    }
    let mut command = Command::new("runuser");
    command.args(["-u", "postgres", "--", "env"]);
    command
}

fn binaries() -> PathBuf {
    let installed = std::fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let newest =
        installed.map(|version| version.path().join("bin")).filter(|bin| bin.join("initdb").exists()).max();
    newest.expect("PostgreSQL's programs are in /usr/lib/postgresql; Debian's package is `postgresql`")
}
