//! The door for other machines: its certificate, and the names it answers to.

use std::fs;
use std::io::{self, Write};
use std::net::{IpAddr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use rcgen::{CertificateParams, DistinguishedName, DnType, ExtendedKeyUsagePurpose, KeyPair, KeyUsagePurpose};
use sha2::{Digest, Sha256};
use thiserror::Error;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::rustls::{self, ServerConfig};

use crate::config::Serve;

/// The certificate that is made on the spot, and its key, in the data folder.
const CERTIFICATE: &str = "screen-certificate.pem";
const KEY: &str = "screen-key.pem";

/// How long one that is made is good: browsers take none that is good for longer than some two years (from memory).
const GOOD_FOR_DAYS: u64 = 730;
/// It is made anew a month before.
const RENEWED_AFTER: Duration = Duration::from_secs((GOOD_FOR_DAYS - 30) * 24 * 3600);

/// Why the door for other machines is not opened. Each is one line for the terminal.
#[derive(Debug, Error)]
pub enum TlsError {
    #[error("--listen {0} needs --allow-host NAME: the name or address that the other screen opens")]
    NoName(SocketAddr),
    #[error("“{0}” is no host name: give the name or the address alone, without http:// and port")]
    BadName(String),
    #[error("cannot read the certificate {file}: {why}", file = .file.display())]
    Certificate { file: PathBuf, why: String },
    #[error("cannot read the key {file}: {why}", file = .file.display())]
    Key { file: PathBuf, why: String },
    #[error("the certificate cannot be used: {0}")]
    Unusable(String),
    #[error("cannot write the certificate: {0}")]
    Write(#[from] io::Error),
}

/// What the door for other machines needs.
pub struct OutsideDoor {
    pub acceptor: TlsAcceptor,
    /// The names under which the pages may be asked for.
    pub names: Arc<[String]>,
    /// The SHA-256 of the certificate, to compare with what the other screen shows.
    pub fingerprint: String,
}

impl OutsideDoor {
    /// Reads or makes the certificate.
    ///
    /// # Errors
    ///
    /// [`TlsError`].
    pub fn new(options: &Serve, address: SocketAddr, folder: &Path) -> Result<Self, TlsError> {
        let names = names(&options.allow_host, address)?;
        let (certificate, key) = match (&options.certificate, &options.key) {
            (Some(certificate), Some(key)) => (certificate.clone(), key.clone()),
            _ => made(folder, &names)?,
        };
        let chain = read_chain(&certificate)?;
        let fingerprint = fingerprint(&chain[0]);
        let key =
            PrivateKeyDer::from_pem_file(&key).map_err(|why| TlsError::Key { file: key, why: why.to_string() })?;
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let config = ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .and_then(|builder| builder.with_no_client_auth().with_single_cert(chain, key));
        let mut config = config.map_err(|why| TlsError::Unusable(why.to_string()))?;
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(Self { acceptor: TlsAcceptor::from(Arc::new(config)), names: names.into(), fingerprint })
    }
}

/// The names that were allowed, and the address itself where it is one of this machine's.
fn names(allowed: &[String], address: SocketAddr) -> Result<Vec<String>, TlsError> {
    let mut names: Vec<String> = allowed.iter().map(|name| name.trim().to_ascii_lowercase()).collect();
    let is_name = |name: &str| {
        let label = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
        name.parse::<IpAddr>().is_ok() || name.split('.').all(label)
    };
    if let Some(wrong) = names.iter().find(|name| !is_name(name)) {
        return Err(TlsError::BadName(wrong.clone()));
    }
    if !address.ip().is_unspecified() {
        names.push(address.ip().to_string());
    }
    names.dedup();
    if names.is_empty() { Err(TlsError::NoName(address)) } else { Ok(names) }
}

fn read_chain(file: &Path) -> Result<Vec<CertificateDer<'static>>, TlsError> {
    let failed = |why: String| TlsError::Certificate { file: file.to_owned(), why };
    let certificates = CertificateDer::pem_file_iter(file).map_err(|why| failed(why.to_string()))?;
    let chain = certificates.collect::<Result<Vec<_>, _>>().map_err(|why| failed(why.to_string()))?;
    if chain.is_empty() { Err(failed("it holds no certificate".to_owned())) } else { Ok(chain) }
}

/// `AB:CD:…`, as browsers write it.
fn fingerprint(certificate: &CertificateDer<'_>) -> String {
    Sha256::digest(certificate).iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(":")
}

/// The line before a certificate that is made here: what it was made for. Readers of certificates skip it.
fn made_for(names: &[String]) -> String {
    format!("Made by Rimbook for {}", names.join(" "))
}

/// The certificate in the data folder, made anew when it is for other names or has only a month left.
fn made(folder: &Path, names: &[String]) -> Result<(PathBuf, PathBuf), TlsError> {
    let (certificate, key) = (folder.join(CERTIFICATE), folder.join(KEY));
    if !is_good(&certificate, names) || !key.is_file() {
        let (made, pair) = make(names).map_err(|why| TlsError::Unusable(why.to_string()))?;
        write_private(&key, &pair.serialize_pem())?;
        write_private(&certificate, &format!("{}\n{}", made_for(names), made.pem()))?;
    }
    Ok((certificate, key))
}

fn is_good(certificate: &Path, names: &[String]) -> bool {
    let is_young = certificate.metadata().and_then(|m| m.modified()).is_ok_and(|made| {
        // One from the future was made by a clock that was wrong.
        SystemTime::now().duration_since(made).is_ok_and(|age| age < RENEWED_AFTER)
    });
    is_young && fs::read_to_string(certificate).is_ok_and(|text| text.lines().next() == Some(&made_for(names)))
}

fn make(names: &[String]) -> Result<(rcgen::Certificate, KeyPair), rcgen::Error> {
    let mut params = CertificateParams::new(names.to_vec())?;
    let mut who = DistinguishedName::new();
    who.push(DnType::CommonName, "Rimbook");
    params.distinguished_name = who;
    let now = time::OffsetDateTime::now_utc();
    // A screen whose clock is a day behind takes it too.
    params.not_before = now - time::Duration::days(1);
    params.not_after = now + time::Duration::days(i64::try_from(GOOD_FOR_DAYS).unwrap_or(0));
    params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
    params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    let pair = KeyPair::generate()?;
    Ok((params.self_signed(&pair)?, pair))
}

/// Writes a file for its owner alone, anew: one that somebody put there first is not written into.
fn write_private(file: &Path, text: &str) -> io::Result<()> {
    match fs::remove_file(file) {
        Err(why) if why.kind() != io::ErrorKind::NotFound => return Err(why),
        _ => {}
    }
    let mut how = fs::OpenOptions::new();
    how.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut how, 0o600);
    let mut file = how.open(file)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_names_alone() {
        let here = SocketAddr::from(([192, 0, 2, 7], 4128));
        let any = SocketAddr::from(([0, 0, 0, 0], 4128));
        assert_eq!(names(&["Bench.local".into()], here).ok(), Some(vec!["bench.local".into(), "192.0.2.7".into()]));
        assert!(matches!(names(&[], any), Err(TlsError::NoName(_))));
        for wrong in ["https://bench", "bench:4128", "", "a b", "*"] {
            assert!(matches!(names(&[wrong.into()], here), Err(TlsError::BadName(_))), "{wrong}");
        }
    }

    #[test]
    fn a_certificate_is_made_once_for_its_names() {
        let folder = tempfile::tempdir().expect("a folder");
        let of = |names: &[&str]| {
            let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
            let (certificate, _) = made(folder.path(), &names).expect("made");
            fingerprint(&read_chain(&certificate).expect("read")[0])
        };
        let first = of(&["bench.local"]);
        assert_eq!(of(&["bench.local"]), first);
        assert_ne!(of(&["bench.local", "192.0.2.7"]), first);
    }
}
