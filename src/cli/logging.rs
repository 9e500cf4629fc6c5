//! The log, on standard error. Always true: no secret is in it, whoever wrote the line: each is blotted out as it passes.

use std::io::{self, Write};
use std::sync::Arc;

use secrecy::{ExposeSecret, SecretString};
use tracing_subscriber::EnvFilter;
use tracing_subscriber::fmt::MakeWriter;

use super::settings::LogFormat;

const BLOT: &str = "***";

/// Begins to log; where that has begun before (in a test), nothing changes.
pub fn start(filter: EnvFilter, format: LogFormat, secrets: Vec<SecretString>) {
    let log =
        tracing_subscriber::fmt().with_env_filter(filter).with_writer(Blotted::new(secrets, io::stderr));
    let _ = match format {
        LogFormat::Text => log.try_init(),
        LogFormat::Json => log.json().try_init(),
    };
}

/// A writer that lets no secret through. The log hands over each line whole.
#[derive(Clone)]
struct Blotted<W> {
    secrets: Arc<Vec<SecretString>>,
    below: W,
}

impl<W> Blotted<W> {
    fn new(secrets: Vec<SecretString>, below: W) -> Blotted<W> {
        Blotted { secrets: Arc::new(secrets), below }
    }
}

impl<'a, W: MakeWriter<'a>> MakeWriter<'a> for Blotted<W> {
    type Writer = Blotted<W::Writer>;

    fn make_writer(&'a self) -> Self::Writer {
        Blotted { secrets: self.secrets.clone(), below: self.below.make_writer() }
    }
}

impl<W: Write> Write for Blotted<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut text = String::from_utf8_lossy(bytes).into_owned();
        for secret in self.secrets.iter() {
            text = text.replace(secret.expose_secret(), BLOT);
        }
        self.below.write_all(text.as_bytes())?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.below.flush()
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use super::*;

    #[test]
    fn secrets_are_blotted_out_of_every_line() {
        let written: Arc<Mutex<Vec<u8>>> = Arc::default();
        let below = {
            let written = written.clone();
            move || Shared(written.clone())
        };
        let log = tracing_subscriber::fmt()
            .json()
            .with_writer(Blotted::new(vec![SecretString::from("1:hush")], below))
            .finish();
        tracing::subscriber::with_default(log, || {
            tracing::error!(url = "https://api.example/bot1:hush/getMe", "1:hush was refused");
        });
        let text = String::from_utf8(written.lock().unwrap().clone()).unwrap();
        assert!(
            text.contains("bot***/getMe") && text.contains("*** was refused") && !text.contains("hush"),
            "{text}"
        );
    }

    struct Shared(Arc<Mutex<Vec<u8>>>);

    impl Write for Shared {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().write(bytes)
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }
}
