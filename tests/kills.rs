//! The program killed a dozen times: nothing is lost, nothing done twice. `cargo bench --bench kills` does it for as long
//! as one likes; the harness is the same.

use std::path::Path;

use crate::support::kills::{Plan, Until, run};
use crate::support::postgres;

async fn a_dozen(plan: Plan) {
    let counts = run(&plan, Path::new(env!("CARGO_BIN_EXE_firstout"))).await;
    assert!(counts.sound(), "{counts}");
}

fn one_process(database: String) -> Plan {
    Plan { seed: 1, database, processes: 1, webhook: false, groups: 12, messages: 5, until: Until::Kills(12) }
}

#[tokio::test]
async fn killed_again_and_again_the_program_loses_nothing_on_sqlite() {
    a_dozen(one_process("sqlite".into())).await;
}

#[tokio::test]
async fn killed_again_and_again_the_program_loses_nothing_on_postgresql() {
    a_dozen(one_process(postgres::database().await)).await;
}
