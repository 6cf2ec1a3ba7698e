#include "daemon/history/sqlite.h"

#include <fmt/format.h>
#include <sqlite3.h>

#include <cerrno>
#include <system_error>

namespace torpor::daemon {
namespace {

ErrorKind kind_of(int code, int system_errno) {
  switch (code & 0xff) {  // the primary code, without its extension
    case SQLITE_FULL:
      return ErrorKind::disk_full;
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
      return ErrorKind::corrupt;
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return ErrorKind::busy;
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
      return ErrorKind::permission;
    case SQLITE_CONSTRAINT:
    case SQLITE_MISMATCH:
      return ErrorKind::invalid;
    case SQLITE_CANTOPEN:
      if (system_errno == EACCES || system_errno == EPERM) return ErrorKind::permission;
      return system_errno == ENOENT ? ErrorKind::not_found : ErrorKind::io;
    default:
      return system_errno == ENOSPC ? ErrorKind::disk_full : ErrorKind::io;
  }
}

Error sqlite_error(sqlite3* database, int code) {
  const char* const name = sqlite3_db_filename(database, "main");
  const std::string file = name == nullptr || *name == '\0' ? "the history" : name;
  const int system_errno = sqlite3_system_errno(database);
  std::string text = fmt::format("{}: {}", file, sqlite3_errmsg(database));
  const bool about_files = (code & 0xff) == SQLITE_IOERR || (code & 0xff) == SQLITE_CANTOPEN;
  if (about_files && system_errno != 0) {
    text += fmt::format(" ({})", std::generic_category().message(system_errno));
  }
  return {kind_of(code, system_errno), std::move(text)};
}

// As a URI: every byte that could mean something in one is written as %XX.
std::string immutable_uri(const std::filesystem::path& file) {
  std::string uri = "file:";
  for (const char c : std::filesystem::absolute(file).string()) {
    const bool plain = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                       c == '/' || c == '.' || c == '-' || c == '_';
    if (plain) {
      uri.push_back(c);
    } else {
      uri += fmt::format("%{:02X}", static_cast<unsigned char>(c));
    }
  }
  return uri + "?immutable=1";
}

struct OpenFacts {
  std::string name;
  int flags = 0;
};

OpenFacts open_facts(const std::filesystem::path& file, OpenMode mode) {
  switch (mode) {
    case OpenMode::create:
      return {file.string(), SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE};
    case OpenMode::read_only:
      return {file.string(), SQLITE_OPEN_READONLY};
    case OpenMode::immutable:
      return {immutable_uri(file), SQLITE_OPEN_READONLY | SQLITE_OPEN_URI};
    case OpenMode::memory:
      return {":memory:", SQLITE_OPEN_READWRITE};
  }
  return {};
}

}  // namespace

Statement::Statement(sqlite3* database, std::string_view sql) : database_(database) {
  failed_ = sqlite3_prepare_v3(database_, sql.data(), static_cast<int>(sql.size()),
                               SQLITE_PREPARE_PERSISTENT, &statement_, nullptr);
}

Statement::~Statement() { sqlite3_finalize(statement_); }

Statement& Statement::bind(int parameter, std::int64_t value) {
  const int code = sqlite3_bind_int64(statement_, parameter, value);
  if (failed_ == SQLITE_OK) failed_ = code;
  return *this;
}

Statement& Statement::bind(int parameter, double value) {
  const int code = sqlite3_bind_double(statement_, parameter, value);
  if (failed_ == SQLITE_OK) failed_ = code;
  return *this;
}

Statement& Statement::bind_text(int parameter, std::string_view text) {
  const int code = sqlite3_bind_text64(statement_, parameter, text.empty() ? "" : text.data(),
                                       text.size(), SQLITE_TRANSIENT, SQLITE_UTF8);
  if (failed_ == SQLITE_OK) failed_ = code;
  return *this;
}

Statement& Statement::bind_blob(int parameter, std::string_view bytes) {
  const int code = sqlite3_bind_blob64(statement_, parameter, bytes.empty() ? "" : bytes.data(),
                                       bytes.size(), SQLITE_TRANSIENT);
  if (failed_ == SQLITE_OK) failed_ = code;
  return *this;
}

tl::expected<bool, Error> Statement::step() {
  if (failed_ != SQLITE_OK) return tl::unexpected(sqlite_error(database_, failed_));
  const int code = sqlite3_step(statement_);
  if (code == SQLITE_ROW) return true;
  if (code == SQLITE_DONE) return false;
  return tl::unexpected(sqlite_error(database_, code));
}

tl::expected<void, Error> Statement::run() {
  const auto stepped = step();
  reset();
  if (!stepped) return tl::unexpected(stepped.error());
  return {};
}

tl::expected<std::vector<std::string>, Error> Statement::texts() {
  std::vector<std::string> all;
  while (true) {
    const auto row = step();
    if (!row) return tl::unexpected(row.error());
    if (!*row) return all;
    all.push_back(text(0));
  }
}

void Statement::reset() {
  // The code repeats what step() has already returned.
  sqlite3_reset(statement_);
  if (statement_ != nullptr) failed_ = SQLITE_OK;
}

bool Statement::is_null(int column) const {
  return sqlite3_column_type(statement_, column) == SQLITE_NULL;
}

std::int64_t Statement::integer(int column) const {
  return sqlite3_column_int64(statement_, column);
}

double Statement::real(int column) const { return sqlite3_column_double(statement_, column); }

std::string Statement::text(int column) const {
  const auto* const bytes = static_cast<const char*>(sqlite3_column_blob(statement_, column));
  const auto size = static_cast<std::size_t>(sqlite3_column_bytes(statement_, column));
  return size == 0 ? std::string() : std::string(bytes, size);
}

tl::expected<std::unique_ptr<Database>, Error> Database::open(const std::filesystem::path& file,
                                                              OpenMode mode) {
  const OpenFacts facts = open_facts(file, mode);
  sqlite3* raw = nullptr;
  // One thread at a time: the caller's contract makes SQLite's own mutex needless.
  const int code =
      sqlite3_open_v2(facts.name.c_str(), &raw, facts.flags | SQLITE_OPEN_NOMUTEX, nullptr);
  std::unique_ptr<Database> database(new Database(raw));
  if (code != SQLITE_OK) {
    Error error = raw == nullptr ? Error{ErrorKind::io, "out of memory"} : sqlite_error(raw, code);
    error.text = fmt::format("cannot open the history {}", error.text);
    return tl::unexpected(std::move(error));
  }
  sqlite3_extended_result_codes(raw, 1);
  sqlite3_busy_timeout(raw, kBusyTimeoutMs);
  return database;
}

Database::~Database() {
  statements_.clear();
  // With all statements finalized it cannot be refused; cursors must not outlive their reader.
  sqlite3_close(database_);
}

tl::expected<void, Error> Database::execute(const std::string& sql) {
  const int code = sqlite3_exec(database_, sql.c_str(), nullptr, nullptr, nullptr);
  if (code != SQLITE_OK) return tl::unexpected(sqlite_error(database_, code));
  return {};
}

tl::expected<void, Error> Database::attach(const std::filesystem::path& file, const char* name) {
  const auto statement = prepare(fmt::format("ATTACH DATABASE ?1 AS {}", name));
  statement->bind_text(1, file.string());
  return statement->run();
}

tl::expected<std::int64_t, Error> Database::integer(std::string_view sql) {
  Statement statement(database_, sql);
  const auto row = statement.step();
  if (!row) return tl::unexpected(row.error());
  return *row ? statement.integer(0) : 0;
}

StatementUse Database::cached(const char* sql) {
  std::unique_ptr<Statement>& statement = statements_[sql];
  if (!statement) statement = prepare(sql);
  return StatementUse(*statement);
}

std::unique_ptr<Statement> Database::prepare(std::string_view sql) {
  return std::make_unique<Statement>(database_, sql);
}

void Database::interrupt() { sqlite3_interrupt(database_); }

bool Database::in_transaction() const { return sqlite3_get_autocommit(database_) == 0; }

std::int64_t Database::changes() const { return sqlite3_changes64(database_); }

void Database::keep_files_beside() {
  int keep = 1;
  // Only a convenience to readers: a file system that refuses it changes nothing else.
  sqlite3_file_control(database_, "main", SQLITE_FCNTL_PERSIST_WAL, &keep);
}

}  // namespace torpor::daemon
