//! Every table of a book, row by row, whatever tables there are: for the export, for the import, and for what is handed over
//! of one customer.
//!
//! The statements here are put together from the names of tables and columns that SQLite itself lists. A list in the program
//! would forget the next table. So this one file cannot use `query!`; nothing that a person typed is ever part of a statement.

use std::path::Path;

use sqlx::sqlite::{
    SqliteArguments, SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqliteRow, SqliteSynchronous,
};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, Row, Sqlite, TypeInfo, ValueRef};

use super::open::create_private;
use super::{FILE_NAME, MIGRATIONS, StoreError};

/// Tables that hold nothing of their own: what was applied, and what the words of the other tables are found by.
const DERIVED: [&str; 3] = ["_sqlx_migrations", "search_word", "search_gap"];
/// Where SQLite keeps the numbers that were given last.
const SEQUENCE: &str = "sqlite_sequence";
/// How many rows are read or added by one statement at most, how many kept files, and how many values SQLite takes in one.
const ROWS_AT_ONCE: usize = 500;
const FILES_AT_ONCE: usize = 4;
const MOST_VALUES: usize = 30_000;

/// A value of a row.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// None.
    Null,
    /// A whole number.
    Integer(i64),
    /// Another number.
    Real(f64),
    /// Text.
    Text(String),
    /// Bytes.
    Blob(Vec<u8>),
}

/// What the values of a column are. The tables are strict, so every value is of the kind of its column, or null.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ColumnKind {
    /// Whole numbers.
    Integer,
    /// Other numbers.
    Real,
    /// Text.
    Text,
    /// Bytes.
    Blob,
}

/// A column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SqlColumn {
    /// Its name.
    pub name: String,
    /// What is in it.
    pub kind: ColumnKind,
    /// Whether a value may be missing.
    pub is_nullable: bool,
}

/// A table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SqlTable {
    /// Its name.
    pub name: String,
    /// Its columns, without those that SQLite computes.
    pub columns: Vec<SqlColumn>,
    /// What its rows are ordered by.
    key: Vec<String>,
}

impl SqlTable {
    /// How many rows are in memory at one time. A kept file is a row of some megabytes.
    fn at_once(&self) -> usize {
        if self.name == "attachment_bytes" { FILES_AT_ONCE } else { ROWS_AT_ONCE }
    }

    fn column_list(&self) -> String {
        self.columns.iter().map(|column| format!("\"{}\"", column.name)).collect::<Vec<_>>().join(", ")
    }
}

/// Every table with rows of its own, by name.
async fn list_tables(db: &mut SqliteConnection) -> Result<Vec<SqlTable>, StoreError> {
    let names: Vec<(String, bool)> = sqlx::query_as(
        "select name, wr from pragma_table_list
         where schema = 'main' and type = 'table' and name not in ('sqlite_schema', 'sqlite_stat1') order by name",
    )
    .fetch_all(&mut *db)
    .await?;
    let mut tables = Vec::new();
    for (name, is_without_rowid) in names.into_iter().filter(|(name, _)| !DERIVED.contains(&name.as_str())) {
        let rows =
            sqlx::query("select name, type, \"notnull\", pk from pragma_table_xinfo(?) where hidden = 0 order by cid")
                .bind(&name)
                .fetch_all(&mut *db)
                .await?;
        let key = if is_without_rowid { key(&rows)? } else { vec!["rowid".to_owned()] };
        tables.push(SqlTable { name, columns: rows.iter().map(column).collect::<Result<_, _>>()?, key });
    }
    // SQLite writes the numbers that were given last while the other tables are filled.
    tables.sort_by_key(|table| table.name == SEQUENCE);
    Ok(tables)
}

/// The columns of a primary key in their order.
fn key(rows: &[SqliteRow]) -> Result<Vec<String>, StoreError> {
    let mut places: Vec<(i64, String)> =
        rows.iter().map(|row| Ok((row.try_get("pk")?, row.try_get("name")?))).collect::<Result<_, sqlx::Error>>()?;
    places.retain(|(place, _)| *place > 0);
    places.sort();
    Ok(places.into_iter().map(|(_, name)| format!("\"{name}\"")).collect())
}

fn column(row: &SqliteRow) -> Result<SqlColumn, StoreError> {
    let (name, kind): (String, String) = (row.try_get("name")?, row.try_get("type")?);
    let (is_not_null, key): (i64, i64) = (row.try_get("notnull")?, row.try_get("pk")?);
    let kind = match (kind.as_str(), name.as_str()) {
        ("INTEGER", _) | ("", "seq") => ColumnKind::Integer,
        ("REAL", _) => ColumnKind::Real,
        ("BLOB", _) => ColumnKind::Blob,
        _ => ColumnKind::Text,
    };
    Ok(SqlColumn { name, kind, is_nullable: is_not_null == 0 && key == 0 })
}

fn values(row: &SqliteRow) -> Result<Vec<Value>, StoreError> {
    (0..row.len())
        .map(|at| {
            let raw = row.try_get_raw(at)?;
            let kind = raw.type_info().name().to_owned();
            Ok(match (raw.is_null(), kind.as_str()) {
                (true, _) => Value::Null,
                (_, "INTEGER") => Value::Integer(row.try_get_unchecked(at)?),
                (_, "REAL") => Value::Real(row.try_get_unchecked(at)?),
                (_, "BLOB") => Value::Blob(row.try_get_unchecked(at)?),
                _ => Value::Text(row.try_get_unchecked(at)?),
            })
        })
        .collect()
}

/// Reads one moment of a book that others may be writing.
pub struct TableReader {
    db: SqliteConnection,
}

impl TableReader {
    /// Opens the book of a folder.
    ///
    /// # Errors
    ///
    /// [`StoreError::Database`].
    pub async fn open(folder: &Path) -> Result<Self, StoreError> {
        let mut db = SqliteConnectOptions::new().filename(folder.join(FILE_NAME)).read_only(true).connect().await?;
        sqlx::query("begin").execute(&mut db).await?;
        Ok(Self { db })
    }

    /// The newest migration in the book.
    pub async fn version(&mut self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar("select coalesce(max(version), 0) from _sqlx_migrations").fetch_one(&mut self.db).await?)
    }

    /// The texts that made the tables, with their comments.
    pub async fn schema(&mut self) -> Result<Vec<String>, StoreError> {
        let texts =
            "select sql from sqlite_schema where type = 'table' and sql not like 'create virtual%' order by name";
        Ok(sqlx::query_scalar(texts).fetch_all(&mut self.db).await?)
    }

    /// Every table with rows of its own.
    pub async fn tables(&mut self) -> Result<Vec<SqlTable>, StoreError> {
        list_tables(&mut self.db).await
    }

    /// Hands over the rows of a table in the order of its key, a few at a time in memory.
    ///
    /// # Errors
    ///
    /// [`StoreError`], or what the receiver says.
    pub async fn each_row<E: From<StoreError>>(
        &mut self,
        table: &SqlTable,
        mut receive: impl FnMut(Vec<Value>) -> Result<(), E>,
    ) -> Result<u64, E> {
        let (mut count, mut last) = (0, None);
        loop {
            let rows = self.rows_after(table, last.as_deref()).await?;
            let Some(end) = rows.last() else { return Ok(count) };
            last = Some(end[..table.key.len()].to_vec());
            count += rows.len() as u64;
            for mut row in rows {
                receive(row.split_off(table.key.len()))?;
            }
        }
    }

    /// The next rows after a key: the key, then the columns.
    async fn rows_after(&mut self, table: &SqlTable, last: Option<&[Value]>) -> Result<Vec<Vec<Value>>, StoreError> {
        let key = table.key.join(", ");
        let after = match last {
            Some(last) => format!("where ({key}) > ({})", vec!["?"; last.len()].join(", ")),
            None => String::new(),
        };
        let columns = table.column_list();
        let sql =
            format!("select {key}, {columns} from \"{}\" {after} order by {key} limit {}", table.name, table.at_once());
        let mut query = sqlx::query(AssertSqlSafe(sql));
        for value in last.unwrap_or_default() {
            query = bound(query, value);
        }
        query.fetch_all(&mut self.db).await?.iter().map(values).collect()
    }
}

type Query<'q> = sqlx::query::Query<'q, Sqlite, SqliteArguments>;

fn bound<'q>(query: Query<'q>, value: &'q Value) -> Query<'q> {
    match value {
        Value::Null => query.bind(None::<i64>),
        Value::Integer(number) => query.bind(number),
        Value::Real(number) => query.bind(number),
        Value::Text(text) => query.bind(text.as_str()),
        Value::Blob(bytes) => query.bind(bytes.as_slice()),
    }
}

/// A new book in a file that nobody else has open. Its triggers are away while rows are added, because the rows already hold
/// what the triggers once did; [`TableFiller::finish`] puts them back, word for word.
pub struct TableFiller {
    db: SqliteConnection,
    triggers: Vec<String>,
}

impl TableFiller {
    /// Makes the file with the tables of a version of the book. They hold what the migrations put in.
    ///
    /// # Errors
    ///
    /// [`StoreError`].
    pub async fn create(file: &Path, version: i64) -> Result<Self, StoreError> {
        create_private(file).map_err(|why| StoreError::Database(sqlx::Error::Io(why)))?;
        let mut db = SqliteConnectOptions::new()
            .filename(file)
            .foreign_keys(false)
            .journal_mode(SqliteJournalMode::Off)
            .synchronous(SqliteSynchronous::Off)
            .connect()
            .await?;
        MIGRATIONS
            .run_to(version, &mut db)
            .await
            .map_err(|why| StoreError::Database(sqlx::Error::Migrate(Box::new(why))))?;
        let triggers: Vec<(String, String)> =
            sqlx::query_as("select name, sql from sqlite_schema where type = 'trigger' order by rowid")
                .fetch_all(&mut db)
                .await?;
        sqlx::query("begin").execute(&mut db).await?;
        for (name, _) in &triggers {
            sqlx::query(AssertSqlSafe(format!("drop trigger \"{name}\""))).execute(&mut db).await?;
        }
        Ok(Self { db, triggers: triggers.into_iter().map(|(_, sql)| sql).collect() })
    }

    /// Every table with rows of its own.
    pub async fn tables(&mut self) -> Result<Vec<SqlTable>, StoreError> {
        list_tables(&mut self.db).await
    }

    /// Takes out of a table what the migrations put in.
    ///
    /// # Errors
    ///
    /// [`StoreError`].
    pub async fn clear(&mut self, table: &SqlTable) -> Result<(), StoreError> {
        sqlx::query(AssertSqlSafe(format!("delete from \"{}\"", table.name))).execute(&mut self.db).await?;
        Ok(())
    }

    /// How many rows [`TableFiller::insert`] takes at once.
    pub fn most_rows(table: &SqlTable) -> usize {
        table.at_once().min(MOST_VALUES / table.columns.len().max(1)).max(1)
    }

    /// Adds rows to a table.
    ///
    /// # Errors
    ///
    /// [`StoreError`], where a row breaks a check of its table.
    pub async fn insert(&mut self, table: &SqlTable, rows: &[Vec<Value>]) -> Result<(), StoreError> {
        if rows.is_empty() {
            return Ok(());
        }
        let one = format!("({})", vec!["?"; table.columns.len()].join(", "));
        let sql = format!(
            "insert into \"{}\" ({}) values {}",
            table.name,
            table.column_list(),
            vec![one.as_str(); rows.len()].join(", ")
        );
        let mut query = sqlx::query(AssertSqlSafe(sql));
        for value in rows.iter().flatten() {
            query = bound(query, value);
        }
        query.execute(&mut self.db).await?;
        Ok(())
    }

    /// Makes the words that people, frames and jobs are found by, puts the triggers back and closes the file.
    ///
    /// # Errors
    ///
    /// [`StoreError`].
    pub async fn finish(mut self) -> Result<(), StoreError> {
        for (view, sql) in [
            (
                "customer_words",
                "insert into customer_search (rowid, name, place, phone, email)
                 select number, name, place, phone, email from customer_words order by number",
            ),
            (
                "frame_words",
                "insert into frame_search (rowid, words) select number, words from frame_words order by number",
            ),
            (
                "job_words",
                "insert into job_search (rowid, person, frame, numbers)
                 select number, person, frame, numbers from job_words order by number",
            ),
        ] {
            // The index of an earlier version is made anew when its book is brought up to date (0029_search.sql).
            let is_there: bool =
                sqlx::query_scalar("select exists (select 1 from sqlite_schema where type = 'view' and name = ?)")
                    .bind(view)
                    .fetch_one(&mut self.db)
                    .await?;
            if is_there {
                sqlx::query(sql).execute(&mut self.db).await?;
            }
        }
        for sql in self.triggers {
            sqlx::query(AssertSqlSafe(sql)).execute(&mut self.db).await?;
        }
        sqlx::query("commit").execute(&mut self.db).await?;
        self.db.close().await?;
        Ok(())
    }
}

/// A table that holds something of a customer, and the condition on its rows. The customer's key is its one parameter.
pub struct Belongs {
    /// The table.
    pub table: SqlTable,
    /// The condition.
    pub condition: String,
}

/// Every table with rows of a customer: those that name the customer or a job the customer wears, and those that belong to a row
/// of these. Tables of the lab's own things (frames, lenses, price lists) and of kinds are left out.
pub(super) async fn list_belonging(db: &mut SqliteConnection) -> Result<Vec<Belongs>, StoreError> {
    const OF_JOBS: &str = "in (select number from job where patient_id = ?1)";
    let tables = list_tables(db).await?;
    let mut found: Vec<Belongs> = Vec::new();
    for table in &tables {
        let has = |name: &str| table.columns.iter().any(|column| column.name == name);
        let condition = match table.name.as_str() {
            "customer" => "id = ?1".to_owned(),
            "job" => "patient_id = ?1".to_owned(),
            _ if has("job_number") => format!("job_number {OF_JOBS}"),
            _ if has("patient_id") => "patient_id = ?1".to_owned(),
            _ if has("customer_id") => "customer_id = ?1".to_owned(),
            _ => continue,
        };
        found.push(Belongs { table: table.clone(), condition });
    }
    for table in &tables {
        if found.iter().any(|one| one.table == *table) {
            continue;
        }
        let parents: Vec<(String, String, String)> =
            sqlx::query_as("select \"from\", \"table\", \"to\" from pragma_foreign_key_list(?) order by id, seq")
                .bind(&table.name)
                .fetch_all(&mut *db)
                .await?;
        let of = |parent: &str| found.iter().find(|one| one.table.name == parent);
        let Some((column, parent, to)) = parents.into_iter().find(|(_, parent, _)| of(parent).is_some()) else {
            continue;
        };
        let within = of(&parent).map(|one| one.condition.clone()).unwrap_or_default();
        let condition = format!("\"{column}\" in (select \"{to}\" from \"{parent}\" where {within})");
        found.push(Belongs { table: table.clone(), condition });
    }
    if let Some(files) = tables.into_iter().find(|table| table.name == "attachment_bytes") {
        let condition = format!("hash in (select hash from attachment where job_number {OF_JOBS})");
        found.push(Belongs { table: files, condition });
    }
    Ok(found)
}

/// The rows of a table that belong to a customer.
pub(super) async fn rows_of(
    db: &mut SqliteConnection,
    table: &SqlTable,
    condition: &str,
    customer: &[u8],
) -> Result<Vec<Vec<Value>>, StoreError> {
    let (columns, key) = (table.column_list(), table.key.join(", "));
    let sql = format!("select {columns} from \"{}\" where {condition} order by {key}", table.name);
    sqlx::query(AssertSqlSafe(sql)).bind(customer).fetch_all(db).await?.iter().map(values).collect()
}
