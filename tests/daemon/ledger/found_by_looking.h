// What the ledger keeps beside its jars so that nothing looks through all of them, against a look
// through all of them.
#pragma once

#include <doctest/doctest.h>

#include <algorithm>
#include <set>
#include <string>
#include <vector>

#include "daemon/ledger/act_subjects.h"
#include "daemon/ledger/deeds.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/split_share.h"
#include "daemon/ledger/tokens.h"

namespace torpor::daemon::test {

// True if it was made from a jar that works in sugar.
inline bool parent_works(const Ledger& ledger, const Jar& jar) {
  return std::any_of(jar.made.from.begin(), jar.made.from.end(), [&](const std::string& parent) {
    const auto known = ledger.jars().find(parent);
    return known != ledger.jars().end() && worked_in_sugar(known->second, jar.closed());
  });
}

inline std::vector<std::string> made_from(const Ledger& ledger, const std::string& id) {
  std::vector<std::string> made;
  for (const auto& [child, jar] : ledger.jars()) {
    const auto& from = jar.made.from;
    const bool is_from = std::find(from.begin(), from.end(), id) != from.end();
    if (is_from || (jar.split && jar.split->from == id)) made.push_back(child);
  }
  return made;
}

// Numbers of the entries about a jar, and of what withdrew them.
inline std::set<std::uint64_t> entries_about(const std::vector<JournalEntry>& journal,
                                             const std::string& id) {
  std::set<std::uint64_t> numbers;
  for (const JournalEntry& entry : journal) {
    const auto act = act_from_json(entry.act);
    REQUIRE(act);
    const auto* withdraw = std::get_if<WithdrawEntry>(&*act);
    const auto jars = jars_of(*act);
    const bool about = std::find(jars.begin(), jars.end(), id) != jars.end();
    if (about || (withdraw != nullptr && numbers.count(withdraw->entry) > 0)) {
      numbers.insert(entry.number);
    }
  }
  return numbers;
}

inline void check_by_looking(const Ledger& ledger, const std::vector<JournalEntry>& journal) {
  std::vector<std::string> ids, all;
  for (const auto& [id, jar] : ledger.jars()) {
    ids.push_back(id);
    CAPTURE(id);
    CHECK(jar.parent_worked_in_sugar == parent_works(ledger, jar));
    CHECK(ledger.jars_from(id) == made_from(ledger, id));
    CHECK(ledger.entries_about(id) == entries_about(journal, id));
    CHECK(ledger.find(lower_case(id)) == &jar);
    if (!jar.split) continue;
    Jar share = jar;
    take_share(share, ledger.jars().at(jar.split->from));
    CHECK(share == jar);
  }
  CHECK(ledger.jar_names().all() == ids);
  all = ids;
  for (const auto& [id, collection] : ledger.collections()) {
    all.push_back(id);
    CHECK(ledger.jars_from(id) == made_from(ledger, id));
  }
  std::sort(all.begin(), all.end());
  CHECK(ledger.names().all() == all);
}

}  // namespace torpor::daemon::test
