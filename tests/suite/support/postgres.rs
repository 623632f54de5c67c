//! A private PostgreSQL cluster for the tests, one for each test process, started when the first test asks for it.
//!
//! [`fresh_database`] is all that a test needs. The cluster lives in a temporary directory, listens on a free port of
//! the loopback interface and disappears with the process, however that ends. A machine without PostgreSQL fails the
//! tests that need it; they are never skipped.

use std::env;
use std::ffi::OsStr;
use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::net::TcpListener;
use std::os::unix::fs::{PermissionsExt as _, chown};
use std::os::unix::process::CommandExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};

use sqlx::{AssertSqlSafe, Connection as _};
use sqlx_postgres::PgConnection;

const MISSING: &str = "PostgreSQL is missing: install the Debian package `postgresql`, or name the directory of its initdb \
                       and pg_ctl in EAVESWARD_PG_BIN";

/// Waits for the end of the test process, then stops the cluster and removes its directory.
///
/// Statics are not dropped, and a killed process runs nothing at all; but the kernel closes our end of this script's
/// standard input in either case, and that ends the `read`. `$@` is the command that stops the cluster.
const GUARD: &str = r#"dir=$1; shift; read -r _; "$@" >/dev/null 2>&1; rm -rf "$dir""#;

/// Settings for a cluster whose data nobody will miss: nothing waits for the disk.
const SETTINGS: &str = "
listen_addresses = '127.0.0.1'
max_connections = 200
fsync = off
synchronous_commit = off
full_page_writes = off
autovacuum = off
";

/// The URL of a new, empty database that no other test knows.
///
/// # Panics
/// When PostgreSQL is not installed or does not start; the message says what to do.
pub async fn fresh_database() -> String {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let server = cluster();
    let name = format!("eavesward_test_{}", COUNT.fetch_add(1, Ordering::Relaxed));
    let mut admin =
        PgConnection::connect(&server.url("postgres")).await.expect("connect to the test cluster");
    // template0, because nobody can be connected to it: a rival connection to the template makes the copy fail.
    sqlx::query(AssertSqlSafe(format!("CREATE DATABASE {name} TEMPLATE template0")))
        .execute(&mut admin)
        .await
        .expect("create a test database");
    admin.close().await.expect("leave the test cluster");
    server.url(&name)
}

/// A running cluster.
struct Cluster {
    port: u16,
    /// Held for its open standard input; see [`GUARD`].
    _guard: Child,
}

impl Cluster {
    fn url(&self, database: &str) -> String {
        format!("postgres://postgres@127.0.0.1:{}/{database}", self.port)
    }
}

fn cluster() -> &'static Cluster {
    // The failure is kept as well, so that a hundred tests do not each wait for a cluster that cannot start.
    static CLUSTER: OnceLock<Result<Cluster, String>> = OnceLock::new();
    match CLUSTER.get_or_init(start) {
        Ok(cluster) => cluster,
        Err(reason) => panic!("{reason}"),
    }
}

fn start() -> Result<Cluster, String> {
    let bin = find_bin(env::var_os("EAVESWARD_PG_BIN").as_deref(), env::var_os("PATH").as_deref())?;
    let account = Account::choose()?;
    let dir = make_dir(&account)?;
    let data = dir.join("data");
    // The guard comes first: what follows may be interrupted too.
    let guard = spawn_guard(&account, &dir, &bin.join("pg_ctl"), &data)?;

    // The C collation is on every machine and orders text by bytes, as SQLite does.
    run(account.command(&bin.join("initdb"), &dir).arg("--pgdata").arg(&data).args([
        "--username=postgres",
        "--auth=trust",
        "--encoding=UTF8",
        "--locale=C",
        "--no-sync",
    ]))?;
    let mut file = OpenOptions::new()
        .append(true)
        .open(data.join("postgresql.conf"))
        .map_err(|error| format!("open postgresql.conf of the test cluster: {error}"))?;
    writeln!(file, "{SETTINGS}unix_socket_directories = '{}'", dir.display())
        .map_err(|error| format!("write postgresql.conf of the test cluster: {error}"))?;

    // Another process can take the free port before PostgreSQL does, so one failure means little.
    let log = dir.join("log");
    let mut failure = String::new();
    for _ in 0..3 {
        let port = free_port()?;
        let started = run(account
            .command(&bin.join("pg_ctl"), &dir)
            .arg("--pgdata")
            .arg(&data)
            .arg("--log")
            .arg(&log)
            .args(["--wait", "--timeout=60", "--options"])
            .arg(format!("-p {port}"))
            .arg("start"));
        match started {
            Ok(()) => return Ok(Cluster { port, _guard: guard }),
            Err(error) => failure = error,
        }
    }
    let log = fs::read_to_string(&log).unwrap_or_default();
    Err(format!("the test cluster of PostgreSQL does not start: {failure}\n{log}"))
}

/// The directory that holds initdb and pg_ctl: the one named, else the first on the path, else Debian's newest.
fn find_bin(named: Option<&OsStr>, path: Option<&OsStr>) -> Result<PathBuf, String> {
    let complete = |dir: &PathBuf| dir.join("initdb").is_file() && dir.join("pg_ctl").is_file();
    if let Some(named) = named {
        // A wrong name is said, not replaced by a guess.
        let dir = PathBuf::from(named);
        return if complete(&dir) {
            Ok(dir)
        } else {
            Err(format!("EAVESWARD_PG_BIN names {}, where initdb and pg_ctl are not", dir.display()))
        };
    }
    if let Some(dir) = path.and_then(|path| env::split_paths(path).find(complete)) {
        return Ok(dir);
    }
    let mut installed: Vec<(u32, PathBuf)> = fs::read_dir("/usr/lib/postgresql")
        .into_iter()
        .flatten()
        .filter_map(|entry| {
            let entry = entry.ok()?;
            Some((entry.file_name().to_str()?.parse().ok()?, entry.path().join("bin")))
        })
        .filter(|(_, dir)| complete(dir))
        .collect();
    installed.sort();
    installed.pop().map(|(_, dir)| dir).ok_or_else(|| MISSING.to_owned())
}

/// Who runs the cluster. PostgreSQL refuses to run as root, so root steps down to another user.
enum Account {
    Ourselves,
    Other { uid: u32, gid: u32 },
}

impl Account {
    fn choose() -> Result<Self, String> {
        if id(&["-u"]) != Some(0) {
            return Ok(Self::Ourselves);
        }
        for name in ["postgres", "nobody"] {
            if let (Some(uid), Some(gid)) = (id(&["-u", name]), id(&["-g", name])) {
                return Ok(Self::Other { uid, gid });
            }
        }
        Err("PostgreSQL does not run as root, and there is no user `postgres` or `nobody` to run it"
            .to_owned())
    }

    /// `program` run by this account in `dir`, which it can enter where the workspace may be closed to it.
    fn command(&self, program: &Path, dir: &Path) -> Command {
        let mut command = Command::new(program);
        if let Self::Other { uid, gid } = self {
            command.uid(*uid).gid(*gid);
        }
        command.current_dir(dir).stdin(Stdio::null());
        command
    }
}

fn id(args: &[&str]) -> Option<u32> {
    let output = Command::new("id").args(args).stderr(Stdio::null()).output().ok()?;
    String::from_utf8(output.stdout).ok()?.trim().parse().ok()
}

/// A directory that `account` owns and can reach; a private TMPDIR, such as one under root's home, is passed over.
fn make_dir(account: &Account) -> Result<PathBuf, String> {
    let mut tried = Vec::new();
    for base in [env::temp_dir(), PathBuf::from("/tmp"), PathBuf::from("/var/tmp")] {
        let made = tempfile::Builder::new()
            // Short, because the path of a Unix socket may not pass 107 bytes.
            .prefix("eavesward-pg-")
            .permissions(fs::Permissions::from_mode(0o700))
            .tempdir_in(&base);
        let Ok(made) = made else {
            tried.push(base);
            continue;
        };
        if let Account::Other { uid, gid } = account {
            chown(made.path(), Some(*uid), Some(*gid))
                .map_err(|error| format!("hand over {}: {error}", made.path().display()))?;
        }
        if run(account.command(Path::new("test"), Path::new("/")).arg("-x").arg(made.path())).is_ok() {
            return Ok(made.keep());
        }
        tried.push(base);
    }
    Err(format!("no temporary directory that PostgreSQL's user can enter; tried {tried:?}"))
}

fn spawn_guard(account: &Account, dir: &Path, pg_ctl: &Path, data: &Path) -> Result<Child, String> {
    account
        .command(Path::new("sh"), Path::new("/"))
        .args(["-c", GUARD, "sh"])
        .arg(dir)
        .arg(pg_ctl)
        .arg("--pgdata")
        .arg(data)
        .args(["--mode=immediate", "stop"])
        .stdin(Stdio::piped())
        // Nothing may keep the pipes of the test runner open once the tests are over.
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        // Out of the terminal's group: an interrupt that ends the tests must not end their cleaner.
        .process_group(0)
        .spawn()
        .map_err(|error| format!("start the guard of the test cluster: {error}"))
}

fn free_port() -> Result<u16, String> {
    TcpListener::bind(("127.0.0.1", 0))
        .and_then(|listener| listener.local_addr())
        .map(|address| address.port())
        .map_err(|error| format!("find a free port: {error}"))
}

fn run(command: &mut Command) -> Result<(), String> {
    let output = command.output().map_err(|error| format!("{command:?}: {error}"))?;
    if output.status.success() {
        return Ok(());
    }
    Err(format!("{command:?}: {}\n{}", output.status, String::from_utf8_lossy(&output.stderr)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn databases_are_apart() {
        let (one, other) = (fresh_database().await, fresh_database().await);
        assert_ne!(one, other);
        let mut one = PgConnection::connect(&one).await.unwrap();
        sqlx::query("CREATE TABLE mark (id bigint)").execute(&mut one).await.unwrap();
        let mut other = PgConnection::connect(&other).await.unwrap();
        let seen: bool =
            sqlx::query_scalar("SELECT to_regclass('mark') IS NOT NULL").fetch_one(&mut other).await.unwrap();
        assert!(!seen);
    }

    #[test]
    fn a_wrong_directory_is_named() {
        let empty = tempfile::tempdir().unwrap();
        let error = find_bin(Some(empty.path().as_os_str()), None).unwrap_err();
        assert!(
            error.contains("EAVESWARD_PG_BIN") && error.contains(&empty.path().display().to_string()),
            "{error}"
        );
    }

    #[test]
    fn both_programs_are_wanted_on_the_path() {
        let (half, whole) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        fs::write(half.path().join("initdb"), "").unwrap();
        fs::write(whole.path().join("initdb"), "").unwrap();
        fs::write(whole.path().join("pg_ctl"), "").unwrap();
        let path = env::join_paths([half.path(), whole.path()]).unwrap();
        assert_eq!(find_bin(None, Some(&path)).unwrap(), whole.path());
    }
}
