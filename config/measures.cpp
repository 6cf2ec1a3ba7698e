#include <fmt/core.h>

#include <utility>

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
  return words;
}

std::string unit_expected(Quantity quantity) {
  return fmt::format("a unit of {}: {}", facts(quantity).name, in_words(unit_words(quantity)));
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
    // A record of SenML names its unit. Where a quantity has one unit only, nothing is to be said;
    // otherwise a guess would read 68 °F as a fatal 68 °C.
    const std::vector<std::string> units = unit_words(measure_.quantity);
    if (form_ == PayloadForm::senml || units.size() == 1) return;
    refuse(mapping.field(),
           fmt::format("`unit` is missing; add `unit: {}` ({})", units.front(), in_words(units)));
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
