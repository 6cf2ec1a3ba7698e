#include "daemon/command/import_jars.h"

#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <memory>
#include <nlohmann/json.hpp>
#include <set>
#include <vector>

#include "daemon/clock/board_clock.h"
#include "daemon/command/tell.h"
#include "daemon/command/terminal.h"
#include "daemon/history/logger_csv.h"
#include "daemon/ledger/jar_csv.h"
#include "daemon/link/random_name.h"
#include "daemon/report/gather.h"
#include "daemon/report/printable.h"
#include "daemon/service/import_channel.h"
#include "daemon/service/load_settings.h"

namespace torpor::daemon {
namespace {

constexpr std::size_t kCorrelationBytes = 16;

// What a rehearsed telling may ask: the places, and nothing that only the service knows.
class PlacesOnly final : public LedgerView {
 public:
  explicit PlacesOnly(const config::Settings& settings) : settings_(settings) {}

  std::vector<std::string> places() const override {
    std::vector<std::string> paths;
    paths.reserve(settings_.places.size());
    for (const auto& place : settings_.places) paths.push_back(place.path);
    return paths;
  }
  std::string describe_jar(const Jar&) const override { return ""; }
  std::string describe_place(std::string_view) const override { return ""; }
  std::string describe_sensor(std::string_view) const override { return ""; }
  std::vector<ToldSensor> sensors() const override { return {}; }
  std::vector<rules::Alert> open_alerts() const override { return {}; }
  std::optional<rules::Standing> standing(std::string_view) const override { return std::nullopt; }
  std::string todo() const override { return {}; }
  std::optional<rules::culture::JarModel> model(std::string_view) const override {
    return std::nullopt;
  }
  std::shared_ptr<const rules::culture::Profile> profile(std::string_view stage) const override {
    return settings_.cultures.for_stage(stage);
  }

 private:
  const config::Settings& settings_;
};

// The ledger as it stands, and the sentences that count in it.
struct Standing {
  Ledger ledger;
  std::set<std::string, std::less<>> told;
  Instant now;
};

tl::expected<Standing, Failure> standing_of(const Loaded& loaded) {
  Standing standing;
  standing.now = wall_now();
  auto reader = Reader::open(loaded.history, spool_folder(loaded.history));
  if (!reader) {
    // Before the first run there is no history, and the ledger is empty.
    if (reader.error().kind == ErrorKind::not_found) return standing;
    return tl::unexpected(failure_of(reader.error()));
  }
  auto ledger = ledger_of(**reader);
  if (!ledger) return tl::unexpected(failure_of(ledger.error()));
  for (const JournalEntry& entry : (*reader)->journal()) {
    if (!ledger->withdrawn_by(entry.number)) standing.told.insert(entry.sentence);
  }
  standing.now = shown_now(loaded.settings, **reader, read_clocks());
  if (const auto fault = (*reader)->fault()) return tl::unexpected(failure_of(*fault));
  standing.ledger = std::move(*ledger);
  return standing;
}

struct JarsFound {
  std::vector<JarCsvRow> fresh;
  std::vector<std::string> lines;  // for each of those, what is said of it
  std::size_t known = 0;
  std::vector<CsvFault> faults;
};

// Tells every row to a copy of the ledger, each to what those before it left.
JarsFound rehearse_rows(JarCsv csv, Standing standing, const Loaded& loaded) {
  const PlacesOnly view(loaded.settings);
  JarsFound found;
  found.faults = std::move(csv.faults);
  for (JarCsvRow& row : csv.rows) {
    if (standing.told.count(row.sentence) > 0) {
      ++found.known;
      continue;
    }
    const auto sentence = parse_sentence(row.sentence, loaded.zone);
    if (!sentence) continue;  // read_jar_csv() has let it pass
    const auto told = standing.ledger.tell(*sentence, row.sentence, standing.now, standing.now,
                                           loaded.zone, view);
    if (!told) {
      found.faults.push_back({row.at, told.error().text});
      continue;
    }
    standing.told.insert(row.sentence);
    const auto& made = std::get<NewJar>(sentence->act);
    const Jar* jar = standing.ledger.find(made.jar);
    found.lines.push_back(fmt::format("{} is registered in {}{}{}", made.jar,
                                      jar != nullptr ? jar->made.place : made.place,
                                      told->brief.empty() ? "" : ": ", told->brief));
    found.fresh.push_back(std::move(row));
  }
  std::stable_sort(found.faults.begin(), found.faults.end(),
                   [](const CsvFault& a, const CsvFault& b) { return a.at.line < b.at.line; });
  return found;
}

std::string text_of_jars(const JarsFound& found, const std::vector<std::string>& answers,
                         const ImportJarsOrder& order, bool through_service) {
  const std::string file = printable(order.file.string());
  if (!found.faults.empty()) {
    std::string text = fmt::format("{}: nothing is recorded; {} fault{}\n", file,
                                   found.faults.size(), found.faults.size() == 1 ? "" : "s");
    for (const CsvFault& fault : found.faults) {
      text += fmt::format("  {}:{}:{}: {}\n", file, fault.at.line, fault.at.column,
                          printable(fault.text));
    }
    return text;
  }
  std::string text =
      fmt::format("{}: {} jars recorded{}, {} known already\n", file, answers.size(),
                  through_service ? " through the running service" : "", found.known);
  // A line a jar: what there is to do about one, `ask` says at length.
  for (const std::string& line : found.lines) text += "  " + printable(line) + '\n';
  return text;
}

// The first row that was not recorded, though its rehearsal was: somebody told something meanwhile.
Failure stopped(const ImportJarsOrder& order, const JarCsvRow& row, Failure failure,
                const std::vector<std::string>& answers) {
  failure.text = fmt::format(
      "{}:{}:{}: {}\n{} jars were recorded; importing the file again goes on with the rest",
      printable(order.file.string()), row.at.line, row.at.column, printable(failure.text),
      answers.size());
  return failure;
}

std::string json_of_jars(const JarsFound& found, const std::vector<std::string>& answers) {
  nlohmann::ordered_json tree;
  tree["jars_recorded"] = answers.size();
  tree["jars_known"] = found.known;
  tree["answers"] = answers;
  tree["faults"] = nlohmann::ordered_json::array();
  for (const CsvFault& fault : found.faults) {
    tree["faults"].push_back(
        {{"line", fault.at.line}, {"column", fault.at.column}, {"text", fault.text}});
  }
  return tree.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + '\n';
}

}  // namespace

tl::expected<ImportReport, Failure> import_jars(const ImportJarsOrder& order,
                                                const std::filesystem::path& config) {
  const auto loaded = load_for_command(config, Purpose::history);
  if (!loaded) return tl::unexpected(loaded.error());
  std::ifstream stream(order.file, std::ios::binary);
  if (!stream || std::filesystem::is_directory(order.file)) {
    return usage(fmt::format("{} cannot be read", printable(order.file.string())));
  }
  auto standing = standing_of(*loaded);
  if (!standing) return tl::unexpected(standing.error());
  const JarsFound found =
      rehearse_rows(read_jar_csv(stream, loaded->zone), std::move(*standing), *loaded);
  std::vector<std::string> answers;
  bool through_service = false;
  if (found.faults.empty() && !found.fresh.empty()) {
    auto channel = ImportChannel::open(*loaded, wall_now());
    if (!channel) return tl::unexpected(failure_of(channel.error()));
    through_service = (*channel)->service_running();
    const std::string by = order.by.empty() ? login_name() : order.by;
    // Not where phones look for answers: the one who imports reads them here.
    const std::string topic = fmt::format("torpor/{}/answer/import", loaded->settings.storeroom);
    const Instant wall = wall_now();
    for (auto begin = found.fresh.begin(); begin != found.fresh.end();) {
      const auto left = static_cast<std::size_t>(found.fresh.end() - begin);
      const auto end = begin + static_cast<std::ptrdiff_t>(std::min(left, kLargestTellBatch));
      std::vector<TellRecord> batch;
      for (auto row = begin; row != end; ++row) {
        // A jar may be withdrawn and imported again: an answer of an earlier run must not stand for
        // it.
        batch.push_back({wall, row->sentence, by, topic, random_bytes(kCorrelationBytes), false});
      }
      auto told = (*channel)->tell(std::move(batch));
      if (!told) return tl::unexpected(stopped(order, *begin, failure_of(told.error()), answers));
      const JarCsvRow* refused = nullptr;
      std::string why;
      for (std::size_t i = 0; i < told->size(); ++i) {
        std::string& answer = (*told)[i];
        if (!answer.starts_with(kNotRecorded)) {
          answers.push_back(std::move(answer));
        } else if (refused == nullptr) {
          refused = &begin[static_cast<std::ptrdiff_t>(i)];
          why = std::move(answer);
        }
      }
      if (refused != nullptr) {
        return tl::unexpected(stopped(order, *refused, {ExitCode::refused, why}, answers));
      }
      begin = end;
    }
  }
  return ImportReport{order.json ? json_of_jars(found, answers)
                                 : text_of_jars(found, answers, order, through_service),
                      found.faults.size()};
}

}  // namespace torpor::daemon
