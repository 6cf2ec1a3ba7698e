// note "journal-check-K" = 256 places of 8 hexadecimal digits: CRC-32 of entries 256 K to 256 K +
// 255,
// "--------" where there is no such entry, "lost----" where it is known to be gone.
#include "daemon/history/journal_checks.h"

#include <fmt/format.h>

#include <map>
#include <string>

#include "daemon/history/history_tables.h"
#include "daemon/history/inbox_segment.h"

namespace torpor::daemon {
namespace {

constexpr std::size_t kEntriesInANote = 256;
constexpr std::size_t kCheckDigits = 8;
constexpr std::string_view kNoCheck = "--------";
constexpr std::string_view kKnownLost = "lost----";

std::string check_of(const JournalEntry& entry) {
  const std::string all =
      fmt::format("{}\x1f{}\x1f{}\x1f{}\x1f{}\x1f{}", entry.number, unix_ms(entry.happened_at),
                  unix_ms(entry.recorded_at), entry.by, entry.sentence, entry.act);
  return fmt::format("{:08x}", crc32_of(all));
}

std::string note_name(std::uint64_t block) { return fmt::format("journal-check-{}", block); }

tl::expected<std::string, Error> read_block(Database& database, std::uint64_t block) {
  const auto note = read_note(database, note_name(block));
  if (!note) return tl::unexpected(note.error());
  std::string text = note->value_or("");
  while (text.size() < kEntriesInANote * kCheckDigits) text += kNoCheck;
  return text;
}

tl::expected<void, Error> write_block(Database& database, std::uint64_t block,
                                      const std::string& text) {
  auto statement = database.cached(
      "INSERT INTO note (name, text) VALUES (?1, ?2) "
      "ON CONFLICT (name) DO UPDATE SET text = excluded.text");
  statement->bind_text(1, note_name(block)).bind_text(2, text);
  return statement->run();
}

tl::expected<void, Error> write_place(Database& database, std::uint64_t number,
                                      std::string_view check) {
  const std::uint64_t block = number / kEntriesInANote;
  auto text = read_block(database, block);
  if (!text) return tl::unexpected(text.error());
  text->replace(number % kEntriesInANote * kCheckDigits, kCheckDigits, check);
  return write_block(database, block, *text);
}

}  // namespace

tl::expected<void, Error> put_check(Database& database, const JournalEntry& entry) {
  return write_place(database, entry.number, check_of(entry));
}

tl::expected<void, Error> put_lost(Database& database, std::uint64_t number) {
  return write_place(database, number, kKnownLost);
}

tl::expected<JournalFaults, Error> check_entries(Database& database,
                                                 const std::vector<JournalEntry>& journal) {
  JournalFaults faults;
  std::map<std::uint64_t, const JournalEntry*> by_number;
  std::uint64_t last = 0;
  for (const JournalEntry& entry : journal) {
    by_number[entry.number] = &entry;
    last = entry.number;
  }
  std::vector<JournalEntry> unchecked;
  for (std::uint64_t block = 0;; ++block) {
    const auto text = read_block(database, block);
    if (!text) return tl::unexpected(text.error());
    bool any = false;
    for (std::size_t place = 0; place < kEntriesInANote; ++place) {
      const std::string_view check =
          std::string_view(*text).substr(place * kCheckDigits, kCheckDigits);
      const std::uint64_t number = block * kEntriesInANote + place;
      const auto entry = by_number.find(number);
      any = any || check != kNoCheck;
      if (entry == by_number.end()) {
        const bool expected = check != kNoCheck || (number > 0 && number < last);
        if (expected && check != kKnownLost) faults.missing.push_back(number);
      } else if (check == kNoCheck || check == kKnownLost) {
        unchecked.push_back(*entry->second);
      } else if (check != check_of(*entry->second)) {
        faults.changed.push_back(number);
      }
    }
    if (!any && block * kEntriesInANote > last) break;
  }
  for (const JournalEntry& entry : unchecked) {
    if (auto put = put_check(database, entry); !put) return tl::unexpected(put.error());
  }
  return faults;
}

}  // namespace torpor::daemon
