#include "daemon/command/rehearse.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <map>
#include <set>

#include "daemon/command/terminal.h"
#include "daemon/history/store.h"
#include "daemon/report/duration_words.h"
#include "daemon/report/gather.h"
#include "daemon/report/json_values.h"
#include "daemon/report/table.h"
#include "daemon/report/text_parts.h"
#include "daemon/service/rehearsal.h"
#include "daemon/service/storeroom.h"

namespace torpor::daemon {
namespace {

// Alerts listed on the terminal; a book that raises more is judged by its counts.
constexpr std::size_t kAlertsListed = 100;
constexpr auto kDrawnEvery = std::chrono::milliseconds(200);

// The rehearsal and what it is compared with.
struct Compared {
  RehearsalRange range;
  Rehearsal rehearsal;
  std::vector<RehearsedAlert> raised;  // by the service, then
  [[nodiscard]] double days() const {
    return std::chrono::duration<double, std::ratio<86400>>(range.to - range.from).count();
  }
  [[nodiscard]] double per_day(std::size_t alerts) const {
    return days() > 0 ? static_cast<double>(alerts) / days() : 0.0;
  }
};

std::string subject_of(const RehearsedAlert& alert) {
  return alert.subject.kind == rules::SubjectKind::service ? "service" : alert.subject.id;
}

// How far it is, where somebody looks.
class Drawn {
 public:
  explicit Drawn(const RehearsalRange& range) : range_(range) {}
  ~Drawn() {
    if (drawn_) std::fputs("\r\x1b[K", stderr);
  }
  Drawn(const Drawn&) = delete;
  Drawn& operator=(const Drawn&) = delete;

  void show(Instant reached) {
    const auto now = std::chrono::steady_clock::now();
    if (!wanted_ || now < next_) return;
    next_ = now + kDrawnEvery;
    drawn_ = true;
    const auto share =
        100 * (reached - range_.from) / std::max(range_.to - range_.from, Duration(1));
    std::fprintf(stderr, "\r\x1b[K%lld %% rehearsed",
                 static_cast<long long>(std::clamp<std::int64_t>(share, 0, 100)));
    std::fflush(stderr);
  }

 private:
  RehearsalRange range_;
  const bool wanted_ = shows_progress();
  bool drawn_ = false;
  std::chrono::steady_clock::time_point next_ = std::chrono::steady_clock::now() + kDrawnEvery;
};

tl::expected<std::optional<Instant>, Failure> typed_time(const char* option,
                                                         const std::string& typed,
                                                         const LocalTime& zone) {
  if (typed.empty()) return std::nullopt;
  const auto instant = zone.parse(typed);
  if (!instant) return usage(fmt::format("{}: {}", option, instant.error()));
  return *instant;
}

// What was typed, else all there is.
tl::expected<RehearsalRange, Failure> range_of(const RehearseOrder& order, const Reader& history,
                                               const LocalTime& zone) {
  const auto from = typed_time("--from", order.from, zone);
  if (!from) return tl::unexpected(from.error());
  const auto to = typed_time("--to", order.to, zone);
  if (!to) return tl::unexpected(to.error());
  const auto oldest = first_reading(history);
  const auto newest = history.newest_measured();
  if (!oldest || !newest) {
    return tl::unexpected(Failure{
        ExitCode::failed, "the history holds no readings yet: there is nothing to rehearse over"});
  }
  const Instant end = *newest + Duration(1);
  const RehearsalRange range{std::max(from->value_or(*oldest), *oldest),
                             std::min(to->value_or(end), end)};
  if (range.from < range.to) return range;
  return usage(
      fmt::format("there are readings from {} to {}: --from must lie before --to, and "
                  "both must touch that time",
                  zone.to_text(*oldest), zone.to_text(*newest)));
}

std::string counts_text(const Compared& compared, const TextStyle& style) {
  std::map<std::string, std::pair<std::size_t, std::size_t>> by_rule;
  for (const RehearsedAlert& alert : compared.rehearsal.alerts) ++by_rule[alert.rule].first;
  for (const RehearsedAlert& alert : compared.raised) ++by_rule[alert.rule].second;
  if (by_rule.empty()) return "";
  Table table({{"  RULE", false, 1}, {"REHEARSED", true}, {"A DAY", true}, {"RAISED THEN", true}});
  for (const auto& [rule, counts] : by_rule) {
    table.add({"  " + rule, fmt::format("{}", counts.first),
               fmt::format("{:.2f}", compared.per_day(counts.first)),
               fmt::format("{}", counts.second)});
  }
  return '\n' + table.text(style.width, style.colour);
}

std::string lasted(const RehearsedAlert& alert) {
  return alert.eased ? in_words(*alert.eased - alert.raised) : "to the end";
}

// Under each day's date and count, its alerts.
std::string days_text(const Compared& compared, const LocalTime& zone, const TextStyle& style) {
  const auto& alerts = compared.rehearsal.alerts;
  const auto day_of = [&zone](const RehearsedAlert& alert) {
    return zone.to_text(alert.raised).substr(0, 10);
  };
  std::map<std::string, std::size_t> a_day;
  for (const RehearsedAlert& alert : alerts) ++a_day[day_of(alert)];
  std::string text;
  std::string day;
  for (std::size_t i = 0; i < std::min(alerts.size(), kAlertsListed); ++i) {
    const RehearsedAlert& alert = alerts[i];
    if (day_of(alert) != day) {
      day = day_of(alert);
      text += painted(fmt::format("\n{}  {} alert{}", day, a_day[day], a_day[day] == 1 ? "" : "s"),
                      Paint::strong, style.colour) +
              '\n';
    }
    text += paragraph(fmt::format("{} {} {}, {}, for {}: {}", zone.to_text(alert.raised).substr(11),
                                  rules::urgency_name(alert.urgency), alert.rule, subject_of(alert),
                                  lasted(alert), alert.what),
                      2, style.width);
  }
  if (alerts.size() > kAlertsListed) {
    text += fmt::format("  (not listed: {} more; --json has all)\n", alerts.size() - kAlertsListed);
  }
  return text;
}

// Those of `all` whose rule and subject `other` does not know at all.
std::string only_in(const std::vector<RehearsedAlert>& all,
                    const std::vector<RehearsedAlert>& other) {
  const auto key = [](const RehearsedAlert& alert) {
    return fmt::format("{} at {}", alert.rule, subject_of(alert));
  };
  std::set<std::string> known, only;
  for (const RehearsedAlert& alert : other) known.insert(key(alert));
  for (const RehearsedAlert& alert : all) {
    if (known.count(key(alert)) == 0) only.insert(key(alert));
  }
  return fmt::format("{}", fmt::join(only, "; "));
}

std::string text_of(const Compared& compared, const LocalTime& zone) {
  const TextStyle style = terminal_style();
  const std::size_t count = compared.rehearsal.alerts.size();
  std::string text = paragraph(
      fmt::format("Rehearsed from {} to {} ({:.1f} days), {} readings stepped: {} alert{}, {:.2f} "
                  "a day. As if nobody had seen or deferred any, without quiet hours; rules about "
                  "the service itself are not rehearsed.",
                  zone.to_text(compared.range.from), zone.to_text(compared.range.to),
                  compared.days(), compared.rehearsal.readings, count, count == 1 ? "" : "s",
                  compared.per_day(count)),
      0, style.width);
  text += counts_text(compared, style) + days_text(compared, zone, style);
  const std::string missed = only_in(compared.raised, compared.rehearsal.alerts);
  const std::string added = only_in(compared.rehearsal.alerts, compared.raised);
  if (missed.empty() && added.empty()) return text;
  text += '\n';
  if (!missed.empty())
    text += paragraph("Raised then, and not rehearsed: " + missed, 0, style.width);
  if (!added.empty()) text += paragraph("Rehearsed, and not raised then: " + added, 0, style.width);
  return text;
}

Tree alerts_tree(const std::vector<RehearsedAlert>& alerts) {
  Tree tree = Tree::array();
  for (const RehearsedAlert& alert : alerts) {
    tree.push_back({{"rule", alert.rule},
                    {"subject", subject_of(alert)},
                    {"raised", json_value(alert.raised)},
                    {"eased", json_value(alert.eased)},
                    {"urgency", std::string(rules::urgency_name(alert.urgency))},
                    {"jars", alert.jars},
                    {"what", alert.what}});
  }
  return tree;
}

std::string json_of(const Compared& compared) {
  Tree tree;
  tree["from"] = json_value(compared.range.from);
  tree["to"] = json_value(compared.range.to);
  tree["days"] = json_value(compared.days());
  tree["readings"] = compared.rehearsal.readings;
  tree["alerts_per_day"] = json_value(compared.per_day(compared.rehearsal.alerts.size()));
  tree["alerts"] = alerts_tree(compared.rehearsal.alerts);
  tree["raised_then"] = alerts_tree(compared.raised);
  return json_dump(tree, 2) + '\n';
}

}  // namespace

tl::expected<std::string, Failure> rehearse_rules(const RehearseOrder& order,
                                                  const std::filesystem::path& config) {
  const auto loaded = load_for_command(config, Purpose::history, order.rules);
  if (!loaded) return tl::unexpected(loaded.error());
  const auto reader = Reader::open(loaded->history, spool_folder(loaded->history));
  if (!reader) return tl::unexpected(failure_of(reader.error()));
  const auto ledger = ledger_of(**reader);
  if (!ledger) return tl::unexpected(failure_of(ledger.error()));
  const auto range = range_of(order, **reader, loaded->zone);
  if (!range) return tl::unexpected(range.error());
  auto raised = raised_alerts(**reader, *range);
  if (!raised) return tl::unexpected(failure_of(raised.error()));

  Compared compared{*range, {}, std::move(*raised)};
  {
    Drawn drawn(*range);
    compared.rehearsal =
        rehearse(watch_settings(storeroom_settings(*loaded), ledger->calibrations()), **reader,
                 *ledger, *range, [&drawn](Instant reached) { drawn.show(reached); });
  }
  if (const auto fault = (*reader)->fault()) {
    return tl::unexpected(
        Failure{ExitCode::failed,
                fmt::format("the history could not be read in whole, so nothing is rehearsed: {}",
                            fault->text)});
  }
  return order.json ? json_of(compared) : text_of(compared, loaded->zone);
}

}  // namespace torpor::daemon
