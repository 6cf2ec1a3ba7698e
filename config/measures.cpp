#include <fmt/core.h>

#include <algorithm>
#include <utility>

#include "config/amounts.h"
#include "config/sections.h"
#include "config/shown_text.h"
#include "config/topic.h"

namespace torpor::config {
namespace {

std::vector<std::string> quantity_names() {
  std::vector<std::string> names;
  for (const QuantityFacts& row : quantities()) names.emplace_back(row.name);
  return names;
}

// The units a quantity can arrive in, as people read them.
std::vector<std::string> unit_words(Quantity quantity) {
  std::vector<std::string> words;
  for (const Unit unit : {Unit::celsius, Unit::fahrenheit, Unit::kelvin, Unit::percent}) {
    if (measures(unit, quantity)) words.emplace_back(symbol(unit));
  }
  if (quantity == Quantity::battery) words.insert(words.end(), {"V", "mV"});
  return words;
}

std::string unit_expected(Quantity quantity) {
  return fmt::format("a unit of {}: {}", facts(quantity).name, in_words(unit_words(quantity)));
}

// Words for a battery's voltage, and how many of them are a volt; nullopt: it is no such word.
std::optional<double> per_volt(std::string_view unit) {
  if (unit == "V") return 1.0;
  if (unit == "mV") return 1000.0;
  return std::nullopt;
}

// The unit, or nullopt when a fault was reported.
std::optional<Unit> read_unit(const Field& field, Quantity quantity) {
  const auto text = field.word(unit_expected(quantity));
  if (!text) return std::nullopt;
  const auto unit = unit_named(*text);
  if (!unit) {
    field.fault_expected(unit_expected(quantity));
    return std::nullopt;
  }
  if (!measures(*unit, quantity)) {
    field.fault(fmt::format("found {}, which is not {}", quoted(*text), unit_expected(quantity)));
    return std::nullopt;
  }
  return unit;
}

class MeasureReader {
 public:
  MeasureReader(PayloadForm form, Quantity quantity) : form_(form) {
    measure_.quantity = quantity;
    measure_.unit = facts(quantity).unit;
  }

  [[nodiscard]] std::optional<Measure> read(const Field& field) {
    if (field.is(YamlNode::Kind::word)) {
      read_short(field);
    } else if (auto mapping = field.mapping(expected())) {
      read_unit_key(*mapping);
      read_span(*mapping);
      read_pointer(*mapping);
      read_name(*mapping);
      mapping->refuse_unknown_keys();
    } else {
      good_ = false;
    }
    if (!good_) return std::nullopt;
    return measure_;
  }

 private:
  [[nodiscard]] std::string expected() const {
    const std::string_view unit = symbol(measure_.unit);
    switch (form_) {
      case PayloadForm::number:
        return fmt::format("{{unit: \"{}\"}}", unit);
      case PayloadForm::json:
        return fmt::format("{{pointer: /NAME, unit: \"{}\"}}", unit);
      case PayloadForm::senml:
        break;
    }
    return "{name: NAME} or {}";
  }

  void read_short(const Field& field) {
    take_unit(field);
    if (good_ && form_ == PayloadForm::json) {
      refuse(field, fmt::format("found only a unit; payload json needs to know where the value "
                                "stands: write {}",
                                expected()));
    }
  }

  void take_unit(const Field& field) {
    if (form_ == PayloadForm::json && measure_.quantity == Quantity::battery &&
        field.is(YamlNode::Kind::word)) {
      per_volt_ = per_volt(field.node().text);
      if (per_volt_) return;
    }
    const auto unit = read_unit(field, measure_.quantity);
    if (!unit) {
      good_ = false;
    } else if (form_ == PayloadForm::senml && *unit == Unit::fahrenheit) {
      refuse(field,
             "SenML has no Fahrenheit, and each record names its own unit (Cel or K); take "
             "the unit away");
    } else {
      measure_.unit = *unit;
    }
  }

  void read_unit_key(Mapping& mapping) {
    if (const auto field = mapping.find("unit")) return take_unit(*field);
    // A record of SenML names its unit. What is in % need not say so; of a temperature a
    // guess would read 68 °F as a fatal 68 °C.
    if (form_ == PayloadForm::senml || measure_.quantity != Quantity::temperature) return;
    const std::vector<std::string> units = unit_words(measure_.quantity);
    refuse(mapping.field(),
           fmt::format("`unit` is missing; add `unit: {}` ({})", units.front(), in_words(units)));
  }

  // A voltage means nothing without what the battery has when it is full, and when it is empty.
  void read_span(Mapping& mapping) {
    const auto empty = mapping.find("empty"), full = mapping.find("full");
    if (!per_volt_) {
      for (const auto& end : {empty, full}) {
        if (end) refuse(*end, "only for a battery whose `unit` is V or mV; take it away");
      }
      return;
    }
    if (!empty || !full) {
      refuse(mapping.field(),
             "a battery in volts needs what it has when it is empty and when it is full: add e.g. "
             "`empty: 2.2 V, full: 3.0 V` (two AA cells, or a lithium coin)");
      return;
    }
    const auto low = read_volts(*empty), high = read_volts(*full);
    if (!low || !high) return;
    if (*low >= *high) return refuse(*full, "`full` is not above `empty`; exchange the two");
    measure_.volts = VoltageSpan{*low * *per_volt_, *high * *per_volt_};
  }

  std::optional<double> read_volts(const Field& field) {
    const auto text = field.word("a voltage such as `2.2 V`");
    good_ = good_ && text.has_value();
    if (!text) return std::nullopt;
    const auto volts = parse_volts(*text);
    if (volts) return *volts;
    refuse(field, volts.error());
    return std::nullopt;
  }

  void read_pointer(Mapping& mapping) {
    const auto field = mapping.find("pointer");
    if (form_ != PayloadForm::json) {
      if (field) refuse(*field, "a pointer is only for payload json; take it away");
      return;
    }
    if (!field) {
      refuse(mapping.field(),
             "`pointer` is missing; add where the value stands in the payload, "
             "e.g. `pointer: /t`");
      return;
    }
    const auto pointer = field->text("a JSON Pointer such as /t");
    if (!pointer) {
      good_ = false;
    } else if (const auto fault = pointer_fault(*pointer)) {
      refuse(*field, *fault);
    } else {
      measure_.pointer = *pointer;
    }
  }

  void read_name(Mapping& mapping) {
    const auto field = mapping.find("name");
    if (!field) return;
    if (form_ != PayloadForm::senml) {
      refuse(*field, "a record name is only for payload senml; take it away");
      return;
    }
    const auto name = field->word("the name of a SenML record, base name included");
    good_ = good_ && name.has_value();
    measure_.name = name.value_or(std::string());
  }

  void refuse(const Field& field, std::string_view message) {
    field.fault(message);
    good_ = false;
  }

  PayloadForm form_;
  Measure measure_;
  std::optional<double> per_volt_;  // how its battery is told; nullopt: in percent
  bool good_ = true;
};

// The example that a missing `measures` is answered with.
std::string_view measures_example(PayloadForm form) {
  return form == PayloadForm::json ? "add e.g. `measures: {temperature: {pointer: /t, unit: °C}}`"
                                   : "add e.g. `measures: {temperature: {unit: °C}}`";
}

bool read_measures(Mapping& sensor, PayloadFormat& format) {
  const auto field = sensor.find("measures");
  if (!field) {
    if (format.form == PayloadForm::senml) return true;
    sensor.field().fault(fmt::format("`measures` is missing; {}", measures_example(format.form)));
    return false;
  }
  const auto mapping = field->mapping("a mapping such as {temperature: {unit: °C}}");
  if (!mapping) return false;
  bool good = true;
  const std::vector<Field> entries = mapping->all();
  for (const Field& entry : entries) {
    const auto quantity = quantity_named(entry.node().key);
    if (!quantity) {
      entry.faults().add(
          entry.node().key_at,
          fmt::format("{}: {} is not a quantity{}", field->path(), quoted(entry.node().key),
                      hint(entry.node().key, quantity_names())));
      good = false;
      continue;
    }
    const auto measure = MeasureReader(format.form, *quantity).read(entry);
    good = good && measure.has_value();
    if (measure) format.measures.push_back(*measure);
  }
  if (format.form == PayloadForm::number && entries.size() != 1) {
    field->fault(
        fmt::format("found {} quantities; payload number is one bare number: name exactly "
                    "one quantity",
                    entries.size()));
    return false;
  }
  const bool battery_alone =
      !format.measures.empty() &&
      std::all_of(format.measures.begin(), format.measures.end(),
                  [](const Measure& m) { return facts(m.quantity).of_sensor; });
  if (battery_alone) {
    field->fault(
        "found a battery and nothing that it measures; a battery's charge is told of a "
        "sensor along with its readings: add its temperature or humidity, or take it away");
    return false;
  }
  if (format.form == PayloadForm::json && entries.empty()) {
    field->fault(fmt::format("found no quantity; {}", measures_example(format.form)));
    return false;
  }
  return good;
}

std::optional<TimeSource> read_time_source(const Field& field) {
  auto mapping = field.mapping("{pointer: /ts, format: seconds}");
  if (!mapping) return std::nullopt;
  TimeSource source;
  bool good = true;
  const auto pointer = mapping->require("pointer", "add e.g. `pointer: /ts`");
  const auto pointer_text =
      pointer ? pointer->word("a JSON Pointer such as /ts") : std::optional<std::string>();
  if (pointer_text) {
    if (const auto fault = pointer_fault(*pointer_text)) {
      pointer->fault(*fault);
      good = false;
    }
    source.pointer = *pointer_text;
  }
  const auto format =
      mapping->require("format", "add `format: seconds`, `milliseconds` or `rfc3339`");
  const auto form = format ? format->one_of<TimeFormat>({{"seconds", TimeFormat::seconds},
                                                         {"milliseconds", TimeFormat::milliseconds},
                                                         {"rfc3339", TimeFormat::rfc3339}})
                           : std::optional<TimeFormat>();
  mapping->refuse_unknown_keys();
  if (!good || !pointer_text || !form) return std::nullopt;
  source.format = *form;
  return source;
}

}  // namespace

bool read_payload(Mapping& sensor, PayloadFormat& format) {
  const auto payload = sensor.require("payload", "add `payload: number`, `json` or `senml`");
  std::optional<PayloadForm> form;
  if (payload) {
    form = payload->one_of<PayloadForm>({{"number", PayloadForm::number},
                                         {"json", PayloadForm::json},
                                         {"senml", PayloadForm::senml}});
  }
  const auto time = sensor.find("time");
  if (!form) {
    (void)sensor.find("measures");  // known; what it must hold depends on the form
    return false;
  }
  format.form = *form;
  bool good = read_measures(sensor, format);
  if (time && format.form != PayloadForm::json) {
    time->fault(
        "the time of a payload is only for payload json: SenML carries its own, a bare "
        "number is stamped on arrival; take it away");
    good = false;
  } else if (time) {
    format.time = read_time_source(*time);
    good = good && format.time.has_value();
  }
  return good;
}

}  // namespace torpor::config
