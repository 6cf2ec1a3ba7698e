#include "daemon/command/show.h"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <fstream>
#include <memory>
#include <optional>
#include <system_error>
#include <vector>

#include "daemon/clock/board_clock.h"
#include "daemon/command/arguments.h"
#include "daemon/command/terminal.h"
#include "daemon/ledger/tokens.h"
#include "daemon/report/choice.h"
#include "daemon/report/duration_words.h"
#include "daemon/report/exposure_rows.h"
#include "daemon/report/gather.h"
#include "daemon/report/html_jar.h"
#include "daemon/report/json.h"
#include "daemon/report/label.h"
#include "daemon/report/life_picture.h"
#include "daemon/report/printable.h"
#include "daemon/report/text.h"
#include "daemon/service/load_settings.h"
#include "daemon/service/storeroom.h"

namespace torpor::daemon {
namespace {

// Everything a reading command looks at, opened once.
class Window {
 public:
  static tl::expected<std::unique_ptr<Window>, Failure> open(const std::filesystem::path& config) {
    auto loaded = load_for_command(config, Purpose::history);
    if (!loaded) return tl::unexpected(loaded.error());
    auto reader = Reader::open(loaded->history, spool_folder(loaded->history));
    if (!reader) return tl::unexpected(no_history(reader.error(), loaded->history));
    auto ledger = ledger_of(**reader);
    if (!ledger) return tl::unexpected(failure_of(ledger.error()));
    std::unique_ptr<Window> window(
        new Window(std::move(*loaded), std::move(*reader), std::move(*ledger)));
    auto gathering =
        Gathering::of(window->loaded_.settings, *window->reader_, window->ledger_,
                      shown_now(window->loaded_.settings, *window->reader_, read_clocks()));
    if (!gathering) return tl::unexpected(failure_of(gathering.error()));
    window->gathering_.emplace(std::move(*gathering));
    if (auto whole = window->whole(); !whole) return tl::unexpected(whole.error());
    return window;
  }

  // What was read from a damaged history looks like a short one: it is not shown as an answer.
  [[nodiscard]] Outcome whole() const {
    const auto fault = reader_->fault();
    if (!fault) return {};
    return tl::unexpected(Failure{
        ExitCode::failed,
        fmt::format("the history could not be read in whole, so nothing is shown: {}. Look at the "
                    "disk; a backup brings back what is lost",
                    fault->text)});
  }

  [[nodiscard]] const Ledger& ledger() const { return ledger_; }
  [[nodiscard]] const LocalTime& zone() const { return loaded_.zone; }
  [[nodiscard]] const Gathering& gathering() const { return *gathering_; }

  // Of the web pages, as other devices reach them; empty: none is configured.
  [[nodiscard]] std::string web_address() const {
    const auto& web = loaded_.settings.web;
    return web ? web->address : std::string();
  }
  [[nodiscard]] PageContext page() const {
    return {loaded_.zone, gathering_->now(), loaded_.settings.storeroom, units()};
  }
  [[nodiscard]] TextContext context() const {
    return {loaded_.zone, gathering_->now(),
            silent_for(loaded_.settings, *reader_, gathering_->now()), terminal_style(), units()};
  }
  [[nodiscard]] PersonUnits units() const { return PersonUnits(loaded_.settings.units); }

 private:
  Window(Loaded loaded, std::unique_ptr<Reader> reader, Ledger ledger)
      : loaded_(std::move(loaded)), reader_(std::move(reader)), ledger_(std::move(ledger)) {}

  static Failure no_history(const Error& error, const std::filesystem::path& file) {
    if (error.kind != ErrorKind::not_found) return failure_of(error);
    return {ExitCode::failed,
            fmt::format("there is no history yet at {}: torpord makes it when it first runs, and "
                        "so does `torpor import readings`",
                        file.string())};
  }

  Loaded loaded_;
  std::unique_ptr<Reader> reader_;
  Ledger ledger_;
  std::optional<Gathering> gathering_;  // of the members above
};

std::string show_alerts(const std::vector<AlertView>& views, bool all, Form form,
                        const TextContext& context) {
  return form == Form::json ? alerts_json(views, context.as_of) + '\n'
                            : alerts_text(views, all, context);
}

Failure unknown_jar(const std::string& id, const Ledger& ledger) {
  std::vector<std::string> known;
  for (const auto& [jar, state] : ledger.jars()) known.push_back(jar);
  for (const auto& [collection, told] : ledger.collections()) {
    if (same_word(collection, id)) {
      return {ExitCode::failed,
              fmt::format("{} is a collection and no jar: torpor tell 'ask {}' shows it",
                          collection, collection)};
    }
  }
  std::string text = fmt::format("no jar '{}' is registered", printable(id));
  const std::string nearest = config::nearest_word(id, known);
  if (!nearest.empty()) text += fmt::format("; did you mean {}?", nearest);
  if (known.empty()) {
    text += "; none is yet: torpor tell 'new jar ...' registers one";
  } else if (nearest.empty()) {
    text += "; `torpor jars` lists them";
  }
  return {ExitCode::failed, text};
}

tl::expected<std::optional<Instant>, Failure> read_time(const char* option, const std::string& text,
                                                        const LocalTime& zone) {
  if (text.empty()) return std::nullopt;
  auto instant = zone.parse(text);
  if (!instant) {
    return tl::unexpected(Failure{ExitCode::usage, fmt::format("{}: {}", option, instant.error())});
  }
  return *instant;
}

tl::expected<HistoryRange, Failure> read_range(const JarQuestion& question, const LocalTime& zone) {
  HistoryRange range;
  const auto from = read_time("--from", question.from, zone);
  if (!from) return tl::unexpected(from.error());
  const auto to = read_time("--to", question.to, zone);
  if (!to) return tl::unexpected(to.error());
  range.from = *from;
  range.to = *to;
  if (range.from && range.to && *range.from >= *range.to) {
    return tl::unexpected(Failure{ExitCode::usage, "--from must lie before --to"});
  }
  if (!question.every.empty()) {
    const auto every = read_duration(question.every);
    if (!every) {
      return tl::unexpected(Failure{ExitCode::usage, "--every: " + every.error()});
    }
    range.every = *every;
  }
  return range;
}

Outcome check_rows(const HistoryRange& range, const Gathering::Stretch& stretch) {
  if (!range.every) return {};
  const std::int64_t rows = (stretch.to - stretch.from) / *range.every;
  if (rows <= kMostRows) return {};
  return tl::unexpected(Failure{
      ExitCode::usage,
      fmt::format("--every {} would give {} rows, and more than {} are not shown at once: choose a "
                  "longer interval, or a shorter time with --from and --to",
                  in_words(*range.every), rows, kMostRows)});
}

tl::expected<std::string, Failure> shown_text(Shown what, Form form, const Window& window) {
  const Gathering& gathering = window.gathering();
  const TextContext context = window.context();
  const bool json = form == Form::json;
  switch (what) {
    case Shown::jars: {
      if (!json) return jars_text(gathering.jar_rows(), context);
      return jars_json(gathering.jars(), context.as_of) + '\n';
    }
    case Shown::places: {
      const auto views = gathering.places();
      return json ? places_json(views, context.as_of) + '\n' : places_text(views, context);
    }
    case Shown::sensors: {
      const auto views = gathering.sensors();
      return json ? sensors_json(views, context.as_of) + '\n' : sensors_text(views, context);
    }
    case Shown::open_alerts:
      return show_alerts(gathering.open_alerts(), false, form, context);
    case Shown::all_alerts:
      break;
  }
  const auto all = gathering.all_alerts();
  if (!all) return tl::unexpected(failure_of(all.error()));
  return show_alerts(*all, true, form, context);
}

// Written beside and renamed: a page that is open in a browser is never half a page.
Outcome write_file(const std::filesystem::path& file, const std::string& page) {
  const std::filesystem::path part = file.string() + ".part";
  const auto failed = [&file](const std::string& why) {
    return tl::unexpected(Failure{ExitCode::failed, fmt::format("{} could not be written: {}",
                                                                printable(file.string()), why)});
  };
  errno = 0;
  std::ofstream stream(part, std::ios::binary | std::ios::trunc);
  stream << page;
  stream.close();
  if (!stream) {
    const std::string why = std::generic_category().message(errno);
    std::error_code ignored;  // the failure that is said is the one before
    std::filesystem::remove(part, ignored);
    return failed(why);
  }
  std::error_code renamed;
  std::filesystem::rename(part, file, renamed);
  if (renamed) return failed(renamed.message());
  return {};
}

tl::expected<std::string, Failure> write_page(const std::string& file, const std::string& page) {
  const Outcome written = write_file(file, page);
  if (!written) return tl::unexpected(written.error());
  return fmt::format("{}: {} bytes, one page; open it in a browser, or print it on A4\n",
                     printable(file), page.size());
}

tl::expected<std::string, Failure> jar_text(const JarQuestion& question, const Window& window) {
  const Ledger& ledger = window.ledger();
  const Jar* jar = ledger.find(question.jar);
  if (jar == nullptr) return tl::unexpected(unknown_jar(question.jar, ledger));
  auto range = read_range(question, window.zone());
  if (!range) return tl::unexpected(range.error());
  const Gathering& gathering = window.gathering();
  if (auto few = check_rows(*range, gathering.stretch(*jar, *range)); !few) {
    return tl::unexpected(few.error());
  }
  if (question.form == Form::html) range->curve_points = kPicturePoints;
  const auto view = gathering.jar_history(*jar, *range);
  if (!view) return tl::unexpected(failure_of(view.error()));
  switch (question.form) {
    case Form::json:
      return jar_history_json(*view) + '\n';
    case Form::csv:
      return exposure_csv(view->exposure);
    case Form::html:
      return write_page(question.file, jar_report(*view, window.page()));
    case Form::text:
      break;
  }
  return jar_history_text(*view, window.context());
}

}  // namespace

tl::expected<std::string, Failure> show(Shown what, Form form,
                                        const std::filesystem::path& config) {
  const auto window = Window::open(config);
  if (!window) return tl::unexpected(window.error());
  auto text = shown_text(what, form, **window);
  if (auto whole = (*window)->whole(); !whole) return tl::unexpected(whole.error());
  return text;
}

tl::expected<std::string, Failure> show_jar(const JarQuestion& question,
                                            const std::filesystem::path& config) {
  const auto window = Window::open(config);
  if (!window) return tl::unexpected(window.error());
  auto text = jar_text(question, **window);
  if (auto whole = (*window)->whole(); !whole) return tl::unexpected(whole.error());
  return text;
}

tl::expected<std::string, Failure> show_choice(const ChoiceQuestion& question,
                                               const std::filesystem::path& config) {
  ChoiceWish wish{question.stage, std::nullopt};
  if (!question.need.empty()) {
    const auto need = read_weight(question.need);
    if (!need) return tl::unexpected(Failure{ExitCode::usage, "--need: " + need.error()});
    wish.need = *need;
  }
  const auto window = Window::open(config);
  if (!window) return tl::unexpected(window.error());
  const Ledger& ledger = (*window)->ledger();
  std::vector<Candidate> candidates;
  for (const auto& [id, jar] : ledger.jars()) {
    candidates.push_back(candidate_of(jar, (*window)->gathering().jar(jar)));
  }
  const TextContext context = (*window)->context();
  const ChoiceView view = rank_jars(std::move(candidates), std::move(wish), context.as_of);
  if (auto whole = (*window)->whole(); !whole) return tl::unexpected(whole.error());
  return question.json ? choice_json(view) + '\n' : choice_text(view, context);
}

tl::expected<std::string, Failure> write_labels(const LabelOrder& order,
                                                const std::filesystem::path& config) {
  if (order.jars.size() > kLabelsOnSheet) {
    return usage(
        fmt::format("{} labels fit on a sheet of A4, and {} jars are named: write two files",
                    kLabelsOnSheet, order.jars.size()));
  }
  const auto window = Window::open(config);
  if (!window) return tl::unexpected(window.error());
  const Ledger& ledger = (*window)->ledger();
  std::vector<Label> labels;
  for (const std::string& id : order.jars) {
    const Jar* jar = ledger.find(id);
    if (jar == nullptr) return tl::unexpected(unknown_jar(id, ledger));
    labels.push_back(label_of(*jar, (*window)->gathering().now()));
  }
  const std::string address = (*window)->web_address();
  auto written =
      write_file(order.file, labels_svg(labels, address, (*window)->zone(), (*window)->units()));
  if (!written) return tl::unexpected(written.error());
  std::string text =
      fmt::format("{}: {} label{} for one sheet of A4; print it at 100 %\n", printable(order.file),
                  labels.size(), labels.size() == 1 ? "" : "s");
  if (const auto warning = unreachable_address(address)) {
    text += fmt::format("Warning: {}.\n", *warning);
  }
  return text;
}

}  // namespace torpor::daemon
