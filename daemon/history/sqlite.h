// A connection to SQLite and its prepared statements, as owners and results: the only place that
// knows SQLite's codes. A connection and its statements belong to one thread at a time.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <memory>
#include <string>
#include <string_view>

#include <tl/expected.hpp>

#include "daemon/error.h"

struct sqlite3;
struct sqlite3_stmt;

namespace torpor::daemon {

// How long a statement waits for another process before it fails with kind busy.
inline constexpr int kBusyTimeoutMs = 5000;

class Statement {
 public:
  Statement(sqlite3* database, std::string_view sql);  // a fault shows at the first step()
  ~Statement();
  Statement(const Statement&) = delete;
  Statement& operator=(const Statement&) = delete;

  // Parameters count from 1. Texts are copied.
  Statement& bind(int parameter, std::int64_t value);
  Statement& bind(int parameter, double value);
  Statement& bind_text(int parameter, std::string_view text);
  Statement& bind_blob(int parameter, std::string_view bytes);

  // True: a row stands ready. False: done.
  [[nodiscard]] tl::expected<bool, Error> step();
  // Runs a statement that returns no rows, and readies it for the next time.
  [[nodiscard]] tl::expected<void, Error> run();
  // The first column of all rows that are left.
  [[nodiscard]] tl::expected<std::vector<std::string>, Error> texts();
  // Ready for new parameters; read locks are released.
  void reset();

  // Columns count from 0. Precondition: a row stands ready.
  [[nodiscard]] bool is_null(int column) const;
  [[nodiscard]] std::int64_t integer(int column) const;
  [[nodiscard]] double real(int column) const;
  [[nodiscard]] std::string text(int column) const;  // also of blobs, byte for byte

 private:
  sqlite3* const database_;
  sqlite3_stmt* statement_ = nullptr;
  int failed_ = 0;  // the first code of prepare or bind that was not OK
};

// Resets a cached statement when the scope that uses it ends, so that no read lock stays behind.
class StatementUse {
 public:
  explicit StatementUse(Statement& statement) : statement_(statement) {}
  ~StatementUse() { statement_.reset(); }
  StatementUse(const StatementUse&) = delete;
  StatementUse& operator=(const StatementUse&) = delete;
  Statement* operator->() { return &statement_; }
  Statement& operator*() { return statement_; }

 private:
  Statement& statement_;
};

enum class OpenMode {
  create,  // read and write, made if absent
  read_only,
  immutable,  // read-only, for a file that nobody writes: no lock, no file beside it
  memory,     // an empty one that goes with the connection
};

class Database {
 public:
  [[nodiscard]] static tl::expected<std::unique_ptr<Database>, Error> open(
      const std::filesystem::path& file, OpenMode mode);
  ~Database();
  Database(const Database&) = delete;
  Database& operator=(const Database&) = delete;

  // One or more statements without parameters.
  [[nodiscard]] tl::expected<void, Error> execute(const std::string& sql);
  // The tables of `file` as `name.TABLE`, until it is detached. `name`: a literal.
  [[nodiscard]] tl::expected<void, Error> attach(const std::filesystem::path& file,
                                                 const char* name);
  // The one integer that a statement like "PRAGMA user_version" returns.
  [[nodiscard]] tl::expected<std::int64_t, Error> integer(std::string_view sql);
  // Prepared once, then kept. `sql` must be a literal: its address is the key.
  [[nodiscard]] StatementUse cached(const char* sql);
  // For statements that run beside others of the same text, or are not to keep what they were bound
  // to.
  [[nodiscard]] std::unique_ptr<Statement> prepare(std::string_view sql);

  // Any thread: what runs on this connection ends soon, with an error.
  void interrupt();

  // False also when SQLite has rolled a transaction back by itself (disk full, I/O fault).
  [[nodiscard]] bool in_transaction() const;
  // Rows that the last statement changed.
  [[nodiscard]] std::int64_t changes() const;
  // Keeps the empty write-ahead files beside the database when the last connection closes, so that
  // readers who may not write in the folder can still open it.
  void keep_files_beside();

 private:
  explicit Database(sqlite3* database) : database_(database) {}

  sqlite3* const database_;
  std::map<const char*, std::unique_ptr<Statement>> statements_;
};

}  // namespace torpor::daemon
