//! What stands before several processes: it takes connections at one address and passes each on to the next process that
//! answers. Always true: a connection goes to one process only, whole.

use std::net::{SocketAddr, TcpListener as Bound};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use tokio::io::copy_bidirectional;
use tokio::net::{TcpListener, TcpStream};

pub struct Proxy {
    address: SocketAddr,
    backends: Arc<Vec<SocketAddr>>,
}

impl Proxy {
    /// Before so many processes, whose addresses it picks.
    pub async fn start(processes: usize) -> Proxy {
        // All at once, so that no port is given twice.
        let free: Vec<Bound> = (0..processes).map(|_| Bound::bind("127.0.0.1:0").unwrap()).collect();
        let backends: Vec<_> = free.iter().map(|bound| bound.local_addr().unwrap()).collect();
        drop(free);
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let proxy = Proxy { address: listener.local_addr().unwrap(), backends: Arc::new(backends) };
        let (backends, next) = (proxy.backends.clone(), Arc::new(AtomicUsize::new(0)));
        tokio::spawn(async move {
            while let Ok((from, _)) = listener.accept().await {
                tokio::spawn(pass_on(from, backends.clone(), next.fetch_add(1, Ordering::Relaxed)));
            }
        });
        proxy
    }

    pub fn url(&self) -> String {
        format!("http://{}/updates", self.address)
    }

    pub fn backend(&self, number: usize) -> SocketAddr {
        self.backends[number]
    }
}

async fn pass_on(mut from: TcpStream, backends: Arc<Vec<SocketAddr>>, first: usize) {
    for n in 0..backends.len() {
        if let Ok(mut to) = TcpStream::connect(backends[(first + n) % backends.len()]).await {
            // Either side may break off; then the other is let go as well.
            let _ = copy_bidirectional(&mut from, &mut to).await;
            return;
        }
    }
}
