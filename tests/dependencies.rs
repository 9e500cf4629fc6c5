//! What the program is built from: crates of one registry, each with its checksum, under licences that let anybody use
//! them, and one TLS stack. Whether anything in them was found to be unsafe can't be asked here: that list is on the net.

use std::collections::BTreeSet;
use std::process::Command;

use toml::{Table, Value};

const REGISTRY: &str = "registry+https://github.com/rust-lang/crates.io-index";

/// Each lets the program be used, changed and passed on, with no more than a notice.
const LICENCES: [&str; 14] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "CDLA-Permissive-2.0",
    "ISC",
    "MIT",
    // Changes to its own files stay open; the program as a whole is not concerned.
    "MPL-2.0",
    "MPL-2.0+",
    "Unicode-3.0",
    "Zlib",
];

#[test]
fn every_crate_comes_from_the_registry_with_its_checksum() {
    let lock: Table = include_str!("../Cargo.lock").parse().unwrap();
    let text = |package: &Value, key: &str| package.get(key).and_then(Value::as_str).map(str::to_owned);
    let packages = lock["package"].as_array().unwrap();
    assert!(packages.len() > 100);
    for package in packages {
        let name = text(package, "name").unwrap();
        if name == "firstout" {
            continue;
        }
        assert_eq!(text(package, "source").as_deref(), Some(REGISTRY), "{name}");
        let sum = text(package, "checksum").unwrap_or_default();
        assert!(sum.len() == 64 && sum.chars().all(|c| c.is_ascii_hexdigit()), "{name}: {sum}");
    }
}

/// The crates that the program itself holds, each with its licence.
fn crates() -> Vec<(String, String)> {
    let mut tree = Command::new(env!("CARGO"));
    tree.args(["tree", "--locked", "--offline", "-e", "normal", "--prefix", "none", "--format", "{p}|{l}"]);
    let tree = tree.current_dir(env!("CARGO_MANIFEST_DIR")).output().unwrap();
    assert!(tree.status.success(), "{}", String::from_utf8_lossy(&tree.stderr));
    let text = String::from_utf8(tree.stdout).unwrap();
    let lines: BTreeSet<&str> = text.lines().map(|line| line.trim_end_matches(" (*)")).collect();
    let crates = lines.into_iter().filter_map(|line| line.split_once('|'));
    crates.map(|(name, licence)| (name.to_owned(), licence.to_owned())).collect()
}

/// All that are named together, or one of those that may be chosen from.
fn is_free(licence: &str) -> bool {
    let plain = licence.replace(['(', ')'], "");
    plain.split(" AND ").all(|part| {
        part.split(" OR ").flat_map(|one| one.split('/')).any(|one| LICENCES.contains(&one.trim()))
    })
}

#[test]
fn every_licence_lets_anybody_use_it() {
    let crates = crates();
    assert!(crates.len() > 100, "{crates:?}");
    let others: Vec<_> = crates.iter().filter(|(_, licence)| !is_free(licence)).collect();
    assert!(others.is_empty(), "{others:?}");
    assert!(!is_free("GPL-3.0-only") && !is_free("MIT AND LGPL-2.1") && !is_free(""));
    assert!(is_free("MIT/Apache-2.0") && is_free("(MIT OR GPL-2.0) AND Unicode-3.0"));
}

#[test]
fn there_is_one_tls_stack() {
    let names: Vec<String> = crates().into_iter().map(|(name, _)| name).collect();
    let of = |name: &str| names.iter().filter(|n| n.split(' ').next() == Some(name)).count();
    assert_eq!((of("rustls"), of("ring")), (1, 1), "{names:?}");
    for other in ["openssl", "openssl-sys", "native-tls", "aws-lc-rs", "aws-lc-sys", "boring"] {
        assert_eq!(of(other), 0, "{other}");
    }
}
