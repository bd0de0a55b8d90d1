//! `rimbook install`: starts Rimbook with the session of its user, again after a crash, and puts it among the programs.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use thiserror::Error;

/// The names of the files.
const UNIT: &str = "rimbook.service";
const ENTRY: &str = "rimbook.desktop";
const ICON: &str = "rimbook.svg";
const PICTURE: &[u8] = include_bytes!("../../static/icon.svg");

/// Why it was not installed. One line for the terminal.
#[derive(Debug, Error)]
pub enum InstallError {
    #[error("this system names no folders for your programs: it has no home folder of yours")]
    NoHome,
    #[error("a path with a line break or a quotation mark cannot stand in the files: {0}")]
    Path(PathBuf),
    #[error("cannot write {file}: {why}", file = .file.display())]
    Write { file: PathBuf, why: io::Error },
    #[error("this program cannot be found: {0}")]
    Program(io::Error),
}

/// Where the files go: the folders of this user in the XDG base directory specification.
#[derive(Debug, Clone)]
pub struct Places {
    /// `~/.config`.
    pub config: PathBuf,
    /// `~/.local/share`.
    pub data: PathBuf,
}

impl Places {
    /// Those of this user.
    ///
    /// # Errors
    ///
    /// [`InstallError::NoHome`].
    pub fn of_user() -> Result<Self, InstallError> {
        let both = dirs::config_dir().zip(dirs::data_dir());
        both.map(|(config, data)| Self { config, data }).ok_or(InstallError::NoHome)
    }

    fn files(&self) -> [PathBuf; 3] {
        [
            self.config.join("systemd/user").join(UNIT),
            self.data.join("applications").join(ENTRY),
            self.data.join("icons/hicolor/scalable/apps").join(ICON),
        ]
    }
}

/// Writes the files and starts the service. Answers what was done, a line each.
///
/// # Errors
///
/// [`InstallError`].
pub fn install(places: &Places, folder: Option<&Path>) -> Result<Vec<String>, InstallError> {
    let program = std::env::current_exe().map_err(InstallError::Program)?;
    let folder = folder.map(std::path::absolute).transpose().map_err(InstallError::Program)?;
    let command = [Some(program.as_path()), folder.as_deref()];
    let texts = [unit(command)?, entry(command)?, String::from_utf8_lossy(PICTURE).into_owned()];
    let mut said = Vec::new();
    for (file, text) in places.files().into_iter().zip(texts) {
        write(&file, &text).map_err(|why| InstallError::Write { file: file.clone(), why })?;
        said.push(format!("Wrote {}", file.display()));
    }
    let is_started = systemctl(&["daemon-reload"]) && systemctl(&["enable", "--now", UNIT]);
    said.push(match is_started {
        true => "Rimbook runs now, and starts by itself when you log in".to_owned(),
        false => format!("To start it when you log in: systemctl --user enable --now {UNIT}"),
    });
    Ok(said)
}

/// Stops the service and takes the files away. The book stays where it is.
///
/// # Errors
///
/// [`InstallError`].
pub fn remove(places: &Places) -> Result<Vec<String>, InstallError> {
    systemctl(&["disable", "--now", UNIT]);
    let mut said = Vec::new();
    for file in places.files() {
        match fs::remove_file(&file) {
            Ok(()) => said.push(format!("Removed {}", file.display())),
            Err(why) if why.kind() == io::ErrorKind::NotFound => {}
            Err(why) => return Err(InstallError::Write { file, why }),
        }
    }
    systemctl(&["daemon-reload"]);
    said.push("The book was left where it is".to_owned());
    Ok(said)
}

fn write(file: &Path, text: &str) -> io::Result<()> {
    fs::create_dir_all(file.parent().unwrap_or(Path::new(".")))?;
    fs::write(file, text)
}

/// Whether the service manager did it. Where there is none, the owner is told what to type.
fn systemctl(what: &[&str]) -> bool {
    let mut command = Command::new("systemctl");
    command.arg("--user").args(what).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    command.status().is_ok_and(|status| status.success())
}

/// A word of a command line in quotation marks, with what the format reads as its own doubled.
fn word(path: &Path, special: &[char]) -> Result<String, InstallError> {
    let text = path.to_str().filter(|text| !text.contains(['"', '\n', '\r', '\\', '`']));
    let text = text.ok_or_else(|| InstallError::Path(path.to_owned()))?;
    let escaped: String = text.chars().flat_map(|c| if special.contains(&c) { vec![c, c] } else { vec![c] }).collect();
    Ok(format!("\"{escaped}\""))
}

fn command_line([program, folder]: [Option<&Path>; 2], special: &[char]) -> Result<String, InstallError> {
    let mut line = word(program.unwrap_or(Path::new("rimbook")), special)?;
    if let Some(folder) = folder {
        line.push_str(&format!(" --data {}", word(folder, special)?));
    }
    Ok(line)
}

/// See systemd.service(5) and systemd.exec(5). A crash is started again after two seconds, ten times in a minute at most; a
/// refusal to start (a damaged book, a port in use) is not tried again: its sentence stands in the journal.
fn unit(command: [Option<&Path>; 2]) -> Result<String, InstallError> {
    Ok(format!(
        "[Unit]
Description=Rimbook, the order book of a lens lab
StartLimitIntervalSec=60
StartLimitBurst=10

[Service]
ExecStart={} --no-browser
Restart=on-failure
RestartPreventExitStatus=1
RestartSec=2
TimeoutStopSec=10
UMask=0077
NoNewPrivileges=yes

[Install]
WantedBy=default.target
",
        command_line(command, &['%', '$'])?
    ))
}

/// See the Desktop Entry Specification 1.5. Where the service runs already, the program opens the browser at its pages.
fn entry(command: [Option<&Path>; 2]) -> Result<String, InstallError> {
    let line = command_line(command, &['%'])?.replace('$', "\\\\$");
    Ok(format!(
        "[Desktop Entry]
Type=Application
Version=1.4
Name=Rimbook
Comment=The order book, bench companion and receipt book of a lens lab
Exec={line}
Icon=rimbook
Terminal=false
Categories=Office;
"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_formats_read_as_their_own_is_written_twice() {
        let command = [Some(Path::new("/opt/100%/rim book")), Some(Path::new("/home/ada/$ave"))];
        let unit = unit(command).expect("written");
        assert!(unit.contains("ExecStart=\"/opt/100%%/rim book\" --data \"/home/ada/$$ave\" --no-browser\n"), "{unit}");
        let entry = entry(command).expect("written");
        assert!(entry.contains("Exec=\"/opt/100%%/rim book\" --data \"/home/ada/\\\\$ave\"\n"), "{entry}");
        assert!(word(Path::new("a\nExecStart=evil"), &[]).is_err());
    }
}
