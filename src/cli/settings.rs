//! What `serve` is told, by environment or by flags of the same names. Whatever is missing or wrong is one line that names
//! it. Secrets are in no error, no log and no debug output.

use std::fs;
use std::path::PathBuf;

use clap::Args;
use rand::Rng;
use secrecy::{ExposeSecret, SecretString};
use tracing_subscriber::EnvFilter;
use url::Url;

use crate::edge::telegram::Webhook;

/// Nothing that is easily taken for something else, by eye or by ear.
const CODE_LETTERS: &[u8] = b"abcdefhkmnpqrtuvwxy34789";
const CODE_LENGTH: usize = 10;

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{name}: {problem}")]
pub struct BadSetting {
    pub name: &'static str,
    pub problem: String,
}

fn bad(name: &'static str, problem: impl Into<String>) -> BadSetting {
    BadSetting { name, problem: problem.into() }
}

#[derive(Debug, Clone, Args)]
pub struct ServeArgs {
    /// The bot's token, as the platform gave it when the bot was made. Flags can be seen by other users of the
    /// computer: better set the variable, or put the token in a file
    #[arg(long, env = "TELEGRAM_TOKEN", hide_env_values = true)]
    telegram_token: Option<SecretString>,
    /// A file that holds the token and nothing else
    #[arg(long, env = "TELEGRAM_TOKEN_FILE")]
    telegram_token_file: Option<PathBuf>,
    /// The address of the Bot API
    #[arg(long, env = "TELEGRAM_API_URL", default_value = teloxide::net::TELEGRAM_API_URL)]
    telegram_api_url: String,
    /// Where everything is kept: a file (sqlite:PATH) or a PostgreSQL database (postgres://USER@HOST/NAME). A file
    /// that isn't there is made
    #[arg(long, env = "DATABASE_URL", hide_env_values = true, default_value = "sqlite:firstout.db")]
    database_url: SecretString,
    /// What a group must write after /start before the bot serves it. Without it each start makes one up and logs it
    #[arg(long, env = "SETUP_CODE", hide_env_values = true)]
    setup_code: Option<SecretString>,
    /// Where the platform is to bring the updates (https://…), in place of their being fetched: for several processes
    /// behind one address. It needs WEBHOOK_SECRET
    #[arg(long, env = "WEBHOOK_URL")]
    webhook_url: Option<String>,
    /// What the platform must show when it brings updates: letters, digits, - and _, the same for all processes
    #[arg(long, env = "WEBHOOK_SECRET", hide_env_values = true)]
    webhook_secret: Option<SecretString>,
    /// Where this process takes updates in when they are brought: behind a proxy that speaks TLS
    #[arg(long, env = "WEBHOOK_LISTEN", default_value = "127.0.0.1:8088")]
    webhook_listen: String,
    /// What is logged: error, warn, info, debug or trace, also for parts of the program (warn,firstout=debug)
    #[arg(long, env = "RUST_LOG", default_value = "info")]
    rust_log: String,
    /// How it is logged: text or json
    #[arg(long, env = "LOG_FORMAT", default_value = "text")]
    log_format: String,
}

/// Settings that can be worked with.
#[derive(Debug)]
pub struct ServeSettings {
    pub token: SecretString,
    pub api_url: Url,
    pub database_url: SecretString,
    pub setup_code: SetupCode,
    pub webhook: Option<Webhook>,
    pub filter: EnvFilter,
    pub format: LogFormat,
}

#[derive(Debug)]
pub struct SetupCode {
    pub code: SecretString,
    /// It was made up at this start: whoever reads the log has to learn it.
    pub made_up: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LogFormat {
    Text,
    Json,
}

impl ServeArgs {
    pub fn settings(self) -> Result<ServeSettings, BadSetting> {
        Ok(ServeSettings {
            token: token(given(self.telegram_token), self.telegram_token_file)?,
            api_url: api_url(&self.telegram_api_url)?,
            database_url: given(Some(self.database_url)).ok_or_else(|| bad("DATABASE_URL", "is empty"))?,
            setup_code: setup_code(given(self.setup_code))?,
            webhook: webhook(self.webhook_url, given(self.webhook_secret), &self.webhook_listen)?,
            filter: EnvFilter::try_new(&self.rust_log).map_err(|_| {
                bad("RUST_LOG", format!("\"{}\" can't be read; for example: info", self.rust_log))
            })?,
            format: log_format(&self.log_format)?,
        })
    }
}

/// A variable that is set to nothing is not set.
fn given(secret: Option<SecretString>) -> Option<SecretString> {
    secret.filter(|secret| !secret.expose_secret().trim().is_empty())
}

fn token(token: Option<SecretString>, file: Option<PathBuf>) -> Result<SecretString, BadSetting> {
    let (name, token) = match (token, file.filter(|path| !path.as_os_str().is_empty())) {
        (None, None) => return Err(bad("TELEGRAM_TOKEN", "is missing (or TELEGRAM_TOKEN_FILE)")),
        (Some(_), Some(_)) => {
            return Err(bad("TELEGRAM_TOKEN_FILE", "is given beside TELEGRAM_TOKEN; one of them, please"));
        }
        (Some(token), None) => ("TELEGRAM_TOKEN", token),
        (None, Some(path)) => {
            let text = fs::read_to_string(&path);
            let text = text.map_err(|e| bad("TELEGRAM_TOKEN_FILE", format!("{}: {e}", path.display())))?;
            ("TELEGRAM_TOKEN_FILE", SecretString::from(text))
        }
    };
    let trimmed = token.expose_secret().trim();
    if trimmed.is_empty() {
        return Err(bad(name, "is empty"));
    }
    if trimmed.contains(|c: char| c.is_whitespace() || c.is_control() || "/?#%".contains(c)) {
        return Err(bad(name, "is not a token: it has characters in it that no token has"));
    }
    Ok(SecretString::from(trimmed))
}

fn api_url(text: &str) -> Result<Url, BadSetting> {
    address("TELEGRAM_API_URL", text)
}

fn webhook(
    url: Option<String>,
    secret: Option<SecretString>,
    listen: &str,
) -> Result<Option<Webhook>, BadSetting> {
    let Some(url) = url.filter(|url| !url.trim().is_empty()) else { return Ok(None) };
    let url = address("WEBHOOK_URL", &url)?;
    let secret = secret.ok_or_else(|| bad("WEBHOOK_SECRET", "is missing: WEBHOOK_URL needs it"))?;
    let secret = SecretString::from(secret.expose_secret().trim());
    let is_good = |c: char| c.is_ascii_alphanumeric() || "-_".contains(c);
    if !(16..=256).contains(&secret.expose_secret().len()) || !secret.expose_secret().chars().all(is_good) {
        return Err(bad("WEBHOOK_SECRET", "must be 16 to 256 letters, digits, - and _"));
    }
    let listen = listen.trim().parse();
    let listen = listen.map_err(|_| bad("WEBHOOK_LISTEN", "is not an address such as 127.0.0.1:8088"))?;
    Ok(Some(Webhook { url, secret, listen }))
}

fn address(name: &'static str, text: &str) -> Result<Url, BadSetting> {
    let url = Url::parse(text.trim().trim_end_matches('/'));
    let url = url.map_err(|e| bad(name, format!("\"{text}\" is not an address: {e}")))?;
    if !matches!(url.scheme(), "http" | "https") || url.host().is_none() {
        return Err(bad(name, format!("\"{text}\" is not an address that begins with http:// or https://")));
    }
    Ok(url)
}

fn setup_code(code: Option<SecretString>) -> Result<SetupCode, BadSetting> {
    let Some(code) = code else { return Ok(SetupCode { code: random_code(), made_up: true }) };
    let trimmed = code.expose_secret().trim();
    if trimmed.contains(char::is_whitespace) {
        return Err(bad("SETUP_CODE", "must be one word"));
    }
    Ok(SetupCode { code: SecretString::from(trimmed), made_up: false })
}

fn random_code() -> SecretString {
    let mut random = rand::rng();
    let letters =
        (0..CODE_LENGTH).map(|_| char::from(CODE_LETTERS[random.random_range(0..CODE_LETTERS.len())]));
    SecretString::from(letters.collect::<String>())
}

fn log_format(text: &str) -> Result<LogFormat, BadSetting> {
    match text {
        "text" => Ok(LogFormat::Text),
        "json" => Ok(LogFormat::Json),
        other => Err(bad("LOG_FORMAT", format!("\"{other}\" is neither text nor json"))),
    }
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Debug, Parser)]
    struct Command {
        #[command(flatten)]
        serve: ServeArgs,
    }

    fn read(flags: &[&str]) -> Result<ServeSettings, String> {
        let line = ["firstout"].iter().chain(flags);
        Command::try_parse_from(line).unwrap().serve.settings().map_err(|e| e.to_string())
    }

    #[test]
    fn a_token_is_all_that_is_needed() {
        let settings = read(&["--telegram-token", " 1:a "]).unwrap();
        assert_eq!(settings.token.expose_secret(), "1:a");
        assert_eq!(settings.api_url.as_str(), "https://api.telegram.org/");
        assert_eq!(settings.database_url.expose_secret(), "sqlite:firstout.db");
        assert_eq!((settings.setup_code.made_up, settings.format), (true, LogFormat::Text));
        assert_eq!(settings.setup_code.code.expose_secret().len(), CODE_LENGTH);
    }

    #[test]
    fn what_is_missing_or_wrong_is_named_in_one_line() {
        let with = |more: &[&str]| read(&[&["--telegram-token", "1:a"], more].concat()).unwrap_err();
        assert_eq!(read(&[]).unwrap_err(), "TELEGRAM_TOKEN: is missing (or TELEGRAM_TOKEN_FILE)");
        assert_eq!(
            read(&["--telegram-token", ""]).unwrap_err(),
            "TELEGRAM_TOKEN: is missing (or TELEGRAM_TOKEN_FILE)"
        );
        assert_eq!(
            read(&["--telegram-token", "1:a b"]).unwrap_err(),
            "TELEGRAM_TOKEN: is not a token: it has characters in it that no token has"
        );
        assert_eq!(
            read(&["--telegram-token-file", "/no/such/file"]).unwrap_err(),
            "TELEGRAM_TOKEN_FILE: /no/such/file: No such file or directory (os error 2)"
        );
        assert!(with(&["--telegram-token-file", "x"]).starts_with("TELEGRAM_TOKEN_FILE: is given beside"));
        assert!(
            with(&["--telegram-api-url", "api"]).starts_with("TELEGRAM_API_URL: \"api\" is not an address")
        );
        assert!(with(&["--telegram-api-url", "file:/x"]).starts_with("TELEGRAM_API_URL: "));
        assert_eq!(
            with(&["--webhook-url", "https://a.example"]),
            "WEBHOOK_SECRET: is missing: WEBHOOK_URL needs it"
        );
        let hook = |more: &[&str]| with(&[&["--webhook-url", "https://a.example"], more].concat());
        assert_eq!(
            hook(&["--webhook-secret", "short"]),
            "WEBHOOK_SECRET: must be 16 to 256 letters, digits, - and _"
        );
        assert_eq!(
            hook(&["--webhook-secret", "0123456789abcdef", "--webhook-listen", "here"]),
            "WEBHOOK_LISTEN: is not an address such as 127.0.0.1:8088"
        );
        assert!(with(&["--webhook-url", "ftp:x"]).starts_with("WEBHOOK_URL: \"ftp:x\" is not an address"));
        assert_eq!(with(&["--setup-code", "two words"]), "SETUP_CODE: must be one word");
        assert_eq!(with(&["--log-format", "xml"]), "LOG_FORMAT: \"xml\" is neither text nor json");
        assert_eq!(with(&["--rust-log", "=!"]), "RUST_LOG: \"=!\" can't be read; for example: info");
        assert_eq!(with(&["--database-url", ""]), "DATABASE_URL: is empty");
    }

    #[test]
    fn a_token_may_be_in_a_file() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("token");
        fs::write(&path, "1:from-a-file\n").unwrap();
        let settings = read(&["--telegram-token-file", path.to_str().unwrap()]).unwrap();
        assert_eq!(settings.token.expose_secret(), "1:from-a-file");
    }

    #[test]
    fn secrets_are_in_no_debug_output() {
        let flags = [
            "--telegram-token",
            "1:hush",
            "--setup-code",
            "hush",
            "--database-url",
            "postgres://a:hush@b/c",
            "--webhook-url",
            "https://a.example",
            "--webhook-secret",
            "hush-hush-hush-hush",
        ];
        let args = Command::try_parse_from(["firstout"].iter().chain(&flags)).unwrap();
        assert!(!format!("{args:?}").contains("hush"));
        assert!(!format!("{:?}", args.serve.settings().unwrap()).contains("hush"));
    }
}
