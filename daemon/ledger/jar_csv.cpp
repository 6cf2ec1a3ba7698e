#include "daemon/ledger/jar_csv.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>
#include <optional>
#include <utility>

#include "config/fault.h"
#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/sentence.h"
#include "daemon/ledger/tokens.h"

namespace torpor::daemon {

namespace {

enum class CellForm {
  text,    // goes in quotes
  plain,   // as it stands: a word, a date, ids
  amount,  // a number; the unit is the column's
};

struct ColumnWord {
  std::string_view name, word;
  CellForm form;
  std::string_view units;  // parted by blanks; empty: none
};
constexpr std::string_view kMassUnits = "g kg oz lb";
constexpr std::string_view kLengthUnits = "mm cm in";
constexpr std::string_view kVolumeUnits = "ml l gal qt";
constexpr std::array kColumnWords = {
    ColumnWord{"id", "", CellForm::plain, ""},
    ColumnWord{"place", "in", CellForm::text, ""},
    ColumnWord{"in", "in", CellForm::text, ""},
    ColumnWord{"stage", "stage", CellForm::text, ""},
    ColumnWord{"rice", "rice", CellForm::amount, kMassUnits},
    ColumnWord{"raw", "raw", CellForm::amount, kMassUnits},
    ColumnWord{"cooked", "cooked", CellForm::plain, kMassUnits},
    ColumnWord{"sugar", "sugar", CellForm::amount, kMassUnits},
    ColumnWord{"sugar_kind", "sugar-kind", CellForm::plain, ""},
    ColumnWord{"sugar-kind", "sugar-kind", CellForm::plain, ""},
    ColumnWord{"topping", "topping", CellForm::amount, kMassUnits},
    ColumnWord{"vessel", "vessel", CellForm::plain, ""},
    ColumnWord{"volume", "vessel", CellForm::amount, kVolumeUnits},
    ColumnWord{"empty", "empty", CellForm::amount, kMassUnits},
    ColumnWord{"mouth", "mouth", CellForm::amount, kLengthUnits},
    ColumnWord{"cover", "cover", CellForm::plain, ""},
    ColumnWord{"closed", "closed", CellForm::plain, ""},
    ColumnWord{"origin", "origin", CellForm::text, ""},
    ColumnWord{"from", "from", CellForm::plain, ""},
    ColumnWord{"at", "at", CellForm::plain, ""},
};

struct JarColumn {
  const ColumnWord* word = nullptr;
  std::string unit;  // empty: none
};

bool has_unit(const ColumnWord& word, std::string_view unit) {
  std::string_view units = word.units;
  while (!units.empty()) {
    const std::string_view one = units.substr(0, units.find(' '));
    if (same_word(one, unit)) return true;
    units.remove_prefix(std::min(units.size(), one.size() + 1));
  }
  return false;
}

// "rice_g" -> rice in g; error: a clause.
tl::expected<JarColumn, std::string> column_called(const std::string& name) {
  std::vector<std::string> known;
  for (const ColumnWord& word : kColumnWords) {
    // `cooked` is a word, `cooked_g` a weight.
    const bool bare = word.form != CellForm::amount;
    if (bare && same_word(word.name, name)) return JarColumn{&word, ""};
    if (bare) known.emplace_back(word.name);
    if (word.units.empty()) continue;
    const std::size_t mark = name.rfind('_');
    const bool named = mark != std::string::npos && same_word(word.name, name.substr(0, mark));
    if (named && has_unit(word, name.substr(mark + 1))) {
      return JarColumn{&word, name.substr(mark + 1)};
    }
    if (named || same_word(word.name, name)) {
      return tl::unexpected(fmt::format("column {} needs its unit behind: {}_ and one of {}",
                                        shown(name), word.name, word.units));
    }
    known.push_back(fmt::format("{}_{}", word.name, word.units.substr(0, word.units.find(' '))));
  }
  const std::string nearest = config::nearest_word(name, known);
  return tl::unexpected(fmt::format("column {} is not known{}; known are {}", shown(name),
                                    nearest.empty() ? "" : fmt::format("; is it {}?", nearest),
                                    fmt::join(known, ", ")));
}

class JarCsvReader {
 public:
  JarCsvReader(std::istream& text, const LocalTime& zone) : rows_(text), zone_(zone) {}

  JarCsv read() {
    read_header();
    // Of a header that is not understood no row can be.
    while (result_.faults.empty() || header_is_good_) {
      auto row = rows_.next();
      if (!row) break;
      if (result_.rows.size() == kMostJarRows) {
        fault(row->cells.empty() ? CsvPlace{} : row->cells.front().at,
              fmt::format("more than {} jars in one file; part it", kMostJarRows));
        break;
      }
      read_row(*row);
    }
    return std::move(result_);
  }

 private:
  void fault(CsvPlace at, std::string text) { result_.faults.push_back({at, std::move(text)}); }

  void read_header() {
    const auto row = rows_.next();
    if (!row) return fault({}, "the file is empty; it begins with a header: id,place,stage,rice_g");
    if (row->fault) return result_.faults.push_back(*row->fault);
    for (const CsvCell& cell : row->cells) {
      auto column = column_called(cell.text);
      if (!column) {
        fault(cell.at, column.error());
        columns_.emplace_back();
        continue;
      }
      const bool twice = std::any_of(columns_.begin(), columns_.end(), [&](const JarColumn& one) {
        return one.word != nullptr && one.word->word == column->word->word &&
               one.word->form == column->word->form;
      });
      if (twice) fault(cell.at, fmt::format("column {} says what one before says", cell.text));
      columns_.push_back(std::move(*column));
    }
    for (const std::string_view needed : {std::string_view(""), std::string_view("in")}) {
      const bool there = std::any_of(columns_.begin(), columns_.end(), [&](const JarColumn& one) {
        return one.word != nullptr && one.word->word == needed;
      });
      if (!there) {
        fault({}, fmt::format("column {} is missing; every jar needs it",
                              needed.empty() ? "id" : "place"));
      }
    }
    header_is_good_ = result_.faults.empty();
  }

  void read_row(const CsvRow& row) {
    if (row.fault) return result_.faults.push_back(*row.fault);
    const std::size_t before = result_.faults.size();
    if (row.cells.size() > columns_.size()) {
      fault(row.cells[columns_.size()].at,
            fmt::format("{} cells in a row of {} columns", row.cells.size(), columns_.size()));
    }
    std::map<std::string_view, std::string> said;  // by word of the sentence
    const CsvCell* id = nullptr;
    for (std::size_t i = 0; i < std::min(row.cells.size(), columns_.size()); ++i) {
      const CsvCell& cell = row.cells[i];
      if (columns_[i].word->word.empty()) id = &cell;
      if (cell.text.empty() || columns_[i].word->word.empty()) continue;
      if (auto value = value_of(columns_[i], cell)) {
        std::string& words = said[columns_[i].word->word];
        // `vessel` and `volume` are one: the word stands before the number.
        const bool number_first = columns_[i].word->form != CellForm::amount && !words.empty();
        if (number_first) {
          words.insert(0, *value + ' ');
        } else {
          if (!words.empty()) words += ' ';
          words += *value;
        }
      }
    }
    if (id == nullptr || id->text.empty()) {
      fault(row.cells.empty() ? CsvPlace{} : row.cells.front().at, "the jar's id is missing");
      return;
    }
    if (!is_jar_id(id->text)) {
      return fault(id->at, fmt::format("{} cannot be a jar's id: an id is 1 to 32 letters, digits, "
                                       "- and _",
                                       shown(id->text)));
    }
    if (said["in"].empty())
      return fault(id->at, fmt::format("where {} stands is missing", id->text));
    if (result_.faults.size() > before) return;
    std::string sentence = fmt::format("new jar {} in {}", id->text, said["in"]);
    for (const auto& [word, value] : said) {
      if (word != "in") sentence += fmt::format(" {} {}", word, value);
    }
    if (const auto parsed = parse_sentence(sentence, zone_); !parsed) {
      return fault(id->at, parsed.error().text);
    }
    result_.rows.push_back({id->at, id->text, std::move(sentence)});
  }

  // The cell as it stands behind its word; nullopt: it was found faulty, alone.
  std::optional<std::string> value_of(const JarColumn& column, const CsvCell& cell) {
    std::string value = cell.text;
    if (column.word->form == CellForm::text) {
      if (value.find('"') != std::string::npos) {
        fault(cell.at, "a quotation mark cannot stand in a text of a sentence; leave it out");
        return std::nullopt;
      }
      value = fmt::format("\"{}\"", value);
    }
    if (!column.unit.empty()) value += ' ' + column.unit;
    // By itself, so that a fault is of this cell.
    const std::string place = column.word->word == "in" ? "" : " in cellar";
    const auto parsed =
        parse_sentence(fmt::format("new jar B{} {} {}", place, column.word->word, value), zone_);
    if (parsed) return value;
    const std::string& text = parsed.error().text;
    fault(cell.at, fmt::format("{}: {}", column.word->name, text.substr(0, text.find("; say: "))));
    return std::nullopt;
  }

  CsvRows rows_;
  const LocalTime& zone_;
  std::vector<JarColumn> columns_;
  bool header_is_good_ = false;
  JarCsv result_;
};

}  // namespace

JarCsv read_jar_csv(std::istream& text, const LocalTime& zone) {
  return JarCsvReader(text, zone).read();
}

}  // namespace torpor::daemon
