#include "daemon/report/json.h"

#include "daemon/report/alert_json.h"
#include "daemon/report/jar_standing_json.h"
#include "daemon/report/json_values.h"
#include "daemon/report/standing_json.h"
#include "sensors/trust.h"

namespace torpor::daemon {
namespace {

constexpr int kIndent = 2;

std::string_view state_name(SensorState state) {
  switch (state) {
    case SensorState::live:
      return "live";
    case SensorState::silent:
      return "silent";
    case SensorState::never_heard:
      return "never_heard";
    case SensorState::not_configured:
      return "not_configured";
  }
  return "never_heard";
}

void add_air(Tree& tree, const AirFigures& air) {
  tree["temperature_degC"] = json_value(air.temperature);
  tree["humidity_percent"] = json_value(air.humidity);
  tree["dew_point_degC"] = json_value(air.dew_point);
  tree["vapour_pressure_Pa"] = json_value(air.vapour_pressure);
  tree["absolute_humidity_g_m3"] = json_value(air.absolute_humidity);
  tree["temperature_sensor"] = json_text(air.sensor);
  tree["humidity_sensor"] = json_text(air.humidity_sensor);
  tree["measured"] = json_value(air.measured_at);
}

Tree ensemble_tree(const std::optional<rules::culture::Ensemble>& ensemble) {
  if (!ensemble) return nullptr;
  return {{"cautious", json_value(ensemble->cautious)},
          {"likely", json_value(ensemble->likely)},
          {"hopeful", json_value(ensemble->hopeful)}};
}

// The jar's own figures: estimates of its model, each with its range.
void add_model_figures(Tree& tree, const JarView& view) {
  const rules::culture::Figures& figures = view.figures;
  tree["highest_jar_temperature_degC"] = json_value(figures.highest_temperature);
  tree["inner_dew_h"] = json_value(figures.inner_dew_h);
  tree["water_gained_g"] = ensemble_tree(figures.water_gained_g);
  tree["water_buffer_g"] = ensemble_tree(figures.water_buffer_g);
  tree["surface_water_activity"] = ensemble_tree(figures.surface_activity);
  tree["body_water_activity"] = ensemble_tree(figures.body_activity);
  tree["wake_progress_percent"] = ensemble_tree(figures.wake_progress_percent);
  tree["slow_work_percent"] = ensemble_tree(figures.slow_work_percent);
  const auto& times = view.standing.time_to_wake;
  tree["time_to_wake_h"] = times[0].kind == rules::culture::WakeTime::Kind::unknown
                               ? Tree(nullptr)
                               : Tree{{"cautious", json_value(times[0])},
                                      {"likely", json_value(times[1])},
                                      {"hopeful", json_value(times[2])}};
}

Tree jar_tree(const JarView& view) {
  Tree tree;
  tree["jar"] = view.jar;
  add_standing(tree, view.standing);
  tree["as_of"] = json_value(view.as_of);
  tree["stage"] = json_text(view.stage);
  tree["place"] = json_text(view.place);
  tree["closed"] = json_value(view.closed);
  tree["retired"] = json_value(view.retired_at);
  add_air(tree, view.air);
  tree["coverage_percent"] = json_value(view.coverage_percent);
  add_model_figures(tree, view);
  tree["alerts"] = view.alerts;
  return tree;
}

Tree place_tree(const PlaceView& view) {
  Tree tree;
  tree["place"] = view.path;
  tree["outside"] = view.outside;
  tree["as_of"] = json_value(view.as_of);
  add_air(tree, view.air);
  tree["sensors"] = view.sensors;
  tree["jars"] = view.jars;
  tree["alerts"] = view.alerts;
  return tree;
}

Tree seconds_of(const std::optional<Duration>& duration) {
  if (!duration) return nullptr;
  return json_value(std::chrono::duration<double>(*duration).count());
}

// What corrects a quantity, and twice its uncertainty as the error to expect.
Tree accuracy_tree(const SensorAccuracy& accuracy) {
  const std::string_view unit = accuracy.quantity == Quantity::humidity ? "percent" : "K";
  const auto& check = accuracy.check;
  Tree tree;
  tree["quantity"] = std::string(facts(accuracy.quantity).name);
  tree["checked"] = check ? json_value(check->check.at) : Tree();
  const Instrument* beside = check ? instrument_of(check->means) : nullptr;
  tree["in"] = check && beside == nullptr ? Tree(bath_name(check->means)) : Tree();
  if (beside != nullptr) {
    tree[fmt::format("against_{}", facts(beside->quantity).key)] = json_value(beside->value);
  }
  tree["entry"] = check ? Tree(check->entry) : Tree();
  tree["points"] = accuracy.correction.points;
  tree["gain"] = accuracy.correction.gain;
  tree[fmt::format("offset_{}", unit)] = json_value(accuracy.correction.offset);
  tree[fmt::format("expected_error_{}", unit)] = json_value(2.0 * accuracy.correction.uncertainty);
  return tree;
}

Tree sensor_tree(const SensorView& view) {
  Tree tree;
  tree["sensor"] = view.id;
  tree["place"] = json_text(view.place);
  tree["jar"] = json_text(view.jar);
  tree["senses"] = std::string(rules::senses_name(view.senses));
  tree["state"] = std::string(state_name(view.state));
  tree["as_of"] = json_value(view.as_of);
  tree["readings"] = Tree::array();
  for (const SensorReading& reading : view.readings) {
    const QuantityFacts& fact = facts(reading.quantity);
    Tree entry;
    entry["quantity"] = std::string(fact.name);
    entry[fmt::format("{}_{}", fact.name, fact.key)] = json_value(reading.value);
    entry[fmt::format("raw_{}_{}", fact.name, fact.key)] = json_value(reading.raw);
    entry["measured"] = json_value(reading.measured_at);
    entry["trusted"] = reading.trusted;
    tree["readings"].push_back(std::move(entry));
  }
  tree["expected_interval_s"] = seconds_of(view.expected_interval);
  tree["hold_s"] = seconds_of(view.hold);
  const rules::SensorStanding standing = view.standing.value_or(rules::SensorStanding{});
  tree["trusted"] = (standing.doubts & kUnbelieved) == 0;
  tree["doubts"] = doubt_words(standing.doubts);
  tree["reasons"] = standing.reasons;
  tree["learned_interval_s"] = seconds_of(standing.interval);
  tree["check"] = json_text(standing.check);
  tree["accuracy"] = Tree::array();
  for (const SensorAccuracy& each : view.accuracy) {
    tree["accuracy"].push_back(accuracy_tree(each));
  }
  tree["alerts"] = view.alerts;
  return tree;
}

Tree row_tree(const ExposureRow& row) {
  return {{"from", json_value(row.from)},
          {"to", json_value(row.to)},
          {"place", json_text(row.place)},
          {"sensor", json_text(row.sensor)},
          {"coverage_percent", json_value(row.coverage_percent)},
          {"temperature_degC", json_value(row.temperature)},
          {"humidity_percent", json_value(row.humidity)},
          {"dew_point_degC", json_value(row.dew_point)}};
}

// The journal keeps an act as JSON already; one that cannot be read is shown as its text.
Tree act_tree(const std::string& act) {
  Tree tree = Tree::parse(act, nullptr, false);
  return tree.is_discarded() ? Tree(act) : tree;
}

Tree entry_tree(const JournalEntry& entry, const JarHistoryView& view) {
  const auto withdrawn = view.withdrawn.find(entry.number);
  return {{"number", entry.number},
          {"happened", json_value(entry.happened_at)},
          {"recorded", json_value(entry.recorded_at)},
          {"by", json_text(entry.by)},
          {"sentence", entry.sentence},
          {"act", act_tree(entry.act)},
          {"withdrawn_by",
           withdrawn == view.withdrawn.end() ? Tree(nullptr) : Tree(withdrawn->second)}};
}

Tree step_tree(const LineView::Step& step) {
  return {{"jar", step.jar}, {"parent", step.parent}, {"split_g", json_value(step.split)}};
}

// The other end of a step: a jar or a collection.
Tree relative_tree(const LineView& line, const LineView::Step& step, const std::string& id) {
  const auto jar = line.jars.find(id);
  const bool is_jar = jar != line.jars.end();
  return {{"id", id},
          {"kind", is_jar ? "jar" : "collection"},
          {"stage", is_jar ? json_text(jar->second.stage) : Tree(nullptr)},
          {"closed", is_jar ? json_value(jar->second.closed) : Tree(nullptr)},
          {"split_g", json_value(step.split)}};
}

Tree collection_tree(const Collection& collection) {
  const NewCollection& made = collection.made;
  const auto lay = made.lay ? json_value(std::chrono::duration<double>(*made.lay).count() / 3600.0)
                            : Tree(nullptr);
  return {{"collection", made.collection},
          {"where", made.where},
          {"trees", json_text(made.trees)},
          {"weather", json_text(made.weather)},
          {"lay_h", lay},
          {"rice_g", json_value(made.rice)},
          {"looked", json_text(made.looked)},
          {"gathered", json_value(collection.gathered)}};
}

Tree taken_tree(const Portion& taken) {
  return {{"entry", taken.entry},
          {"at", json_value(taken.at)},
          {"contents_g", json_value(taken.contents)},
          {"purpose", json_text(taken.purpose)},
          {"into", json_text(taken.into)}};
}

template <class Views, class ToTree>
Tree array_of(const Views& views, ToTree to_tree) {
  Tree array = Tree::array();
  for (const auto& view : views) array.push_back(to_tree(view));
  return array;
}

template <class Views, class ToTree>
std::string list_json(const char* name, const Views& views, Instant as_of, ToTree to_tree) {
  Tree tree;
  tree["as_of"] = json_value(as_of);
  tree[name] = array_of(views, to_tree);
  return json_dump(tree, kIndent);
}

// RFC 4180: a field with a comma, quote or line break is quoted, quotes doubled.
std::string csv_field(const std::string& text) {
  if (text.find_first_of(",\"\r\n") == std::string::npos) return text;
  std::string quoted = "\"";
  for (const char c : text) quoted += c == '"' ? std::string("\"\"") : std::string(1, c);
  return quoted + '"';
}

template <class Tag>
std::string csv_number(const std::optional<Amount<Tag>>& amount) {
  return amount ? fmt::format("{:.7g}", amount->value()) : std::string();
}

}  // namespace

std::string jar_json(const JarView& view) { return json_dump(jar_tree(view)); }
std::string place_json(const PlaceView& view) { return json_dump(place_tree(view)); }
std::string sensor_json(const SensorView& view) { return json_dump(sensor_tree(view)); }

std::string jars_json(std::span<const JarView> views, Instant as_of) {
  return list_json("jars", views, as_of, jar_tree);
}
std::string places_json(std::span<const PlaceView> views, Instant as_of) {
  return list_json("places", views, as_of, place_tree);
}
std::string sensors_json(std::span<const SensorView> views, Instant as_of) {
  return list_json("sensors", views, as_of, sensor_tree);
}
std::string alerts_json(std::span<const AlertView> views, Instant as_of) {
  return list_json("alerts", views, as_of, alert_tree);
}

namespace {

void add_line(Tree& tree, const JarHistoryView& view) {
  const LineView& line = view.line;
  tree["parents"] = Tree::array();
  for (const LineView::Step& step : line.back) {
    if (step.jar == view.jar.jar) tree["parents"].push_back(relative_tree(line, step, step.parent));
  }
  tree["children"] = Tree::array();
  for (const LineView::Step& step : line.forward) {
    if (step.parent == view.jar.jar)
      tree["children"].push_back(relative_tree(line, step, step.jar));
  }
  // The nearest; the line names the rest.
  tree["collection"] =
      line.collections.empty() ? Tree(nullptr) : collection_tree(line.collections.front());
  tree["line"] = {{"back", array_of(line.back, step_tree)},
                  {"forward", array_of(line.forward, step_tree)},
                  {"collections", array_of(line.collections, collection_tree)}};
  tree["taken"] = array_of(line.taken, taken_tree);
}

}  // namespace

std::string jar_history_json(const JarHistoryView& view) {
  Tree tree;
  tree["jar"] = view.jar.jar;
  add_standing(tree, view.jar.standing);
  tree["from"] = json_value(view.summary.from);
  tree["to"] = json_value(view.summary.to);
  tree["coverage_percent"] = view.summary.from < view.summary.to
                                 ? json_value(view.summary.coverage_percent)
                                 : Tree(nullptr);
  tree["mean_kinetic_temperature_degC"] = json_value(view.summary.mean_kinetic_temperature);
  tree["highest_temperature_degC"] = json_value(view.summary.highest_temperature);
  add_model_figures(tree, view.jar);
  tree["stays"] = array_of(view.stays, [](const Stay& stay) -> Tree {
    return {{"place", stay.place}, {"from", json_value(stay.from)}, {"to", json_value(stay.to)}};
  });
  tree["alerts"] = array_of(view.alerts, alert_tree);
  add_line(tree, view);
  tree["journal"] = array_of(
      view.journal, [&view](const JournalEntry& entry) { return entry_tree(entry, view); });
  tree["exposure"] = array_of(view.exposure, row_tree);
  return json_dump(tree, kIndent);
}

std::string exposure_csv(std::span<const ExposureRow> rows) {
  std::string csv =
      "from,to,place,sensor,coverage_percent,temperature_degC,humidity_percent,dew_point_degC\n";
  for (const ExposureRow& row : rows) {
    csv += fmt::format("{},{},{},{},{:.7g},{},{},{}\n", to_rfc3339(row.from), to_rfc3339(row.to),
                       csv_field(row.place), csv_field(row.sensor), row.coverage_percent,
                       csv_number(row.temperature), csv_number(row.humidity),
                       csv_number(row.dew_point));
  }
  return csv;
}

std::string air_json(const AirView& view) {
  Tree tree;
  tree["dew_point_degC"] = json_value(view.dew_point);
  tree["vapour_pressure_Pa"] = json_value(view.vapour_pressure);
  tree["saturation_vapour_pressure_Pa"] = json_value(view.saturation_vapour_pressure);
  tree["absolute_humidity_g_m3"] = json_value(view.absolute_humidity);
  tree["humidity_ratio_kg_kg"] = json_value(view.humidity_ratio);
  return json_dump(tree, kIndent);
}

}  // namespace torpor::daemon
