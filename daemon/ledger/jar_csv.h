// A notebook of jars as CSV: each row becomes the sentence that registers the jar, cell by cell
// through the grammar of sentences. Pure but for the stream; what the ledger makes of the sentences
// is the ledger's.
//
//   id,place,stage,rice_g,raw_g,sugar_g,topping_g,vessel,volume_l,cover,closed,origin,from
//   B-07,cellar/shelf-2,IMO-2,1200,560,1250,60,glass,3.8,paper,2026-03-02,beech hollow,C-01
//
// A column is called as the word of `new jar`, an amount's with its unit behind: rice_g, rice_lb,
// mouth_cm, volume_ml. `place` is `in`. An empty cell says nothing.
#pragma once

#include <istream>
#include <string>
#include <vector>

#include "daemon/history/csv_rows.h"
#include "daemon/ledger/local_time.h"

namespace torpor::daemon {

// More is not one keeper's notebook, and every jar is told by itself.
inline constexpr std::size_t kMostJarRows = 10'000;

struct JarCsvRow {
  CsvPlace at;  // of its id
  std::string id;
  std::string sentence;  // "new jar B-07 in \"cellar/shelf-2\" ..."
};
struct JarCsv {
  std::vector<JarCsvRow> rows;   // those without a fault
  std::vector<CsvFault> faults;  // every one, in the order of the file
};
[[nodiscard]] JarCsv read_jar_csv(std::istream& text, const LocalTime& zone);

}  // namespace torpor::daemon
