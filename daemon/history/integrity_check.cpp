#include "daemon/history/integrity_check.h"

#include <fmt/format.h>

#include <chrono>
#include <optional>
#include <string>
#include <utility>

#include "daemon/history/day_block.h"
#include "daemon/history/sqlite.h"

namespace torpor::daemon {
namespace {

// SQLite's own check of pages and cells. It cannot see a bit that changed inside of a value.
std::optional<Error> fault_of_pages(Database& database, const std::filesystem::path& file) {
  const auto check = database.prepare("PRAGMA quick_check(1)");
  const auto row = check->step();
  if (!row) return row.error();
  if (!*row || check->text(0) == "ok") return std::nullopt;
  return Error{ErrorKind::corrupt, fmt::format("{}: {}", file.string(), check->text(0))};
}

// Blocks have checksums of their own.
std::optional<Error> fault_of_blocks(Database& database, const std::filesystem::path& file) {
  const auto days = database.prepare(
      "SELECT day, quantity, bytes FROM day LEFT JOIN day_column USING (position)");
  std::size_t damaged = 0;
  while (true) {
    const auto row = days->step();
    if (!row) return row.error();
    if (!*row) break;
    const auto quantity = static_cast<Quantity>(days->integer(1));
    if (!decode_day(days->integer(0), {}, quantity, days->text(2))) ++damaged;
  }
  if (damaged == 0) return std::nullopt;
  return Error{ErrorKind::corrupt,
               fmt::format("{}: {} blocks of readings are damaged", file.string(), damaged)};
}

}  // namespace

IntegrityCheck::IntegrityCheck(const std::filesystem::path& file,
                               std::function<void(const Error&)> damaged) {
  auto database = Database::open(file, OpenMode::read_only);
  if (!database) return;
  database_ = std::move(*database);
  thread_ = std::thread([this, file, damaged = std::move(damaged)] {
    auto fault = fault_of_pages(*database_, file);
    if (!fault && !unwanted_) fault = fault_of_blocks(*database_, file);
    // Interrupted, or busy for long: nothing was found.
    if (fault && fault->kind == ErrorKind::corrupt) damaged(*fault);
    finished_ = true;
  });
}

void IntegrityCheck::finish() {
  if (thread_.joinable()) thread_.join();
}

IntegrityCheck::~IntegrityCheck() {
  unwanted_ = true;
  // An interrupt ends what runs now, not what is about to begin.
  while (database_ && !finished_) {
    database_->interrupt();
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  finish();
}

}  // namespace torpor::daemon
