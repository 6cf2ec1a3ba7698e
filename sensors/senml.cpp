// The form `senml`: a pack of Sensor Measurement Lists, RFC 8428, in JSON.
//   pack   = "[" record *("," record) "]"
//   record = JSON object of the labels below; base labels (bn ...) hold for the records after it
//   too
// Valid:   [{"bn":"urn:dev:ow:10e2073a01080063:","bt":1772476200,"n":"t","u":"Cel","v":21.5},
//           {"n":"rh","u":"%RH","v":61.2,"t":-5}]
// Refused: {"n":"t","v":1} (no array)   [{"n":"_t","v":1}] (name)   [{"n":"t","x_":1}] (extension)
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>

#include "sensors/decoding.h"
#include "sensors/json_text.h"

namespace torpor::decoding {
namespace {

using nlohmann::json;

// RFC 8428, section 4.5.3: a time below this many seconds is relative to now, at or above it counts
// from 1970. It is the sum of base time and time that is compared.
constexpr double kRelativeTimeLimit = 268435456.0;  // 2^28
// RFC 8428, section 4.4: the version this reader knows; a pack of a later one must not be used.
constexpr double kVersion = 10.0;

enum class LabelType { number, text, truth };
struct Label {
  std::string_view name;
  LabelType type;
};
// RFC 8428, table 1 and 2.
constexpr std::array kLabels = {
    Label{"bn", LabelType::text},   Label{"bt", LabelType::number},
    Label{"bu", LabelType::text},   Label{"bv", LabelType::number},
    Label{"bs", LabelType::number}, Label{"bver", LabelType::number},
    Label{"n", LabelType::text},    Label{"u", LabelType::text},
    Label{"v", LabelType::number},  Label{"vs", LabelType::text},
    Label{"vb", LabelType::truth},  Label{"vd", LabelType::text},
    Label{"s", LabelType::number},  Label{"t", LabelType::number},
    Label{"ut", LabelType::number},
};

// What a record's unit says it is: those of RFC 8428, section 12.1, that this house measures.
struct Measured {
  Quantity quantity;
  Unit unit;
};
std::optional<Measured> measured_in(std::string_view unit) {
  if (unit == "Cel") return Measured{Quantity::temperature, Unit::celsius};
  if (unit == "K") return Measured{Quantity::temperature, Unit::kelvin};
  if (unit == "%RH") return Measured{Quantity::humidity, Unit::percent};
  if (unit == "%EL") return Measured{Quantity::battery, Unit::percent};
  return std::nullopt;
}

std::string_view units_of(Quantity quantity) {
  switch (quantity) {
    case Quantity::temperature:
      return "Cel or K";
    case Quantity::humidity:
      return "%RH";
    case Quantity::battery:
      break;
  }
  return "%EL";
}

// What earlier records say for this one.
struct Bases {
  std::string name;
  std::string unit;
  double time = 0.0;
  double value = 0.0;
};

// One record with its bases applied.
struct Entry {
  std::size_t number = 0;  // counted from 1
  std::string name;
  std::string unit;             // empty: none
  double time = 0.0;            // seconds
  std::optional<double> value;  // v with the base value
  bool other_content = false;   // vs, vb, vd or a sum instead
};

// A pack on its way to readings.
class Pack {
 public:
  explicit Pack(const Message& message) : message_(message) {}

  // One record after the other; the first refusal ends the pack.
  std::optional<DecodeError> take(const json& record);
  Readings finish() &&;

 private:
  using MaybeFound = tl::expected<std::optional<Measured>, DecodeError>;

  [[nodiscard]] std::optional<DecodeError> check_labels(const json& record) const;
  void take_bases(const json& record);
  [[nodiscard]] tl::expected<Entry, DecodeError> resolve(const json& record) const;
  [[nodiscard]] MaybeFound find(const Entry& entry);
  [[nodiscard]] MaybeFound find_by_unit(const Entry& entry);
  [[nodiscard]] tl::expected<MeasuredAt, DecodeError> time_of(const Entry& entry) const;
  [[nodiscard]] bool wanted_by_unit(Quantity quantity) const;

  const Message& message_;
  std::size_t records_ = 0;
  Bases bases_;
  std::vector<Reading> readings_;
  // The name under which each quantity was first found by its unit alone.
  std::map<Quantity, std::string> names_by_unit_;
};

std::string field_of_record(std::string_view label, std::size_t number) {
  return fmt::format("{} of record {}", label, number);
}

std::optional<DecodeError> check_type(const Label& label, const json& value, std::size_t number) {
  const std::string where = field_of_record(label.name, number);
  if (label.type == LabelType::number) {
    const auto read = number_of(value, where);
    return read ? std::nullopt : std::optional(read.error());
  }
  const bool fits = label.type == LabelType::text ? value.is_string() : value.is_boolean();
  if (fits) return std::nullopt;
  return DecodeError{Refusal::wrong_type,
                     fmt::format("{} holds {}: expected {}", where, describe(value),
                                 label.type == LabelType::text ? "text" : "true or false")};
}

std::optional<DecodeError> check_version(double version, std::size_t number) {
  const std::string where = field_of_record("bver", number);
  if (version < 1.0 || version != std::floor(version)) {
    return DecodeError{Refusal::wrong_type,
                       fmt::format("{} is {:g}: expected a whole number from 1", where, version)};
  }
  if (version > kVersion) {
    return DecodeError{
        Refusal::unknown_extension,
        fmt::format("{} is {:g}: SenML is read up to version {:g}", where, version, kVersion)};
  }
  return std::nullopt;
}

// RFC 8428, section 4.5.1.
bool is_valid_name(std::string_view name) {
  const auto letter_or_digit = [](char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
  };
  return !name.empty() && letter_or_digit(name.front()) &&
         std::all_of(name.begin(), name.end(), [&](char c) {
           return letter_or_digit(c) || std::string_view("-:./_").find(c) != std::string_view::npos;
         });
}

std::optional<DecodeError> Pack::check_labels(const json& record) const {
  for (const auto& item : record.items()) {
    const std::string& name = item.key();
    const auto label = std::find_if(kLabels.begin(), kLabels.end(),
                                    [&](const Label& known) { return known.name == name; });
    if (label != kLabels.end()) {
      if (auto error = check_type(*label, item.value(), records_)) return error;
    } else if (!name.empty() && name.back() == '_') {
      // RFC 8428, section 4.4: such a label changes what the record means.
      return DecodeError{Refusal::unknown_extension,
                         fmt::format("record {} has the label \"{}\", an extension that must be "
                                     "understood and is not",
                                     records_, excerpt(name))};
    }
  }
  const auto version = record.find("bver");
  return version == record.end() ? std::nullopt : check_version(version->get<double>(), records_);
}

void Pack::take_bases(const json& record) {
  bases_.name = record.value("bn", bases_.name);
  bases_.unit = record.value("bu", bases_.unit);
  bases_.time = record.value("bt", bases_.time);
  bases_.value = record.value("bv", bases_.value);
}

tl::expected<Entry, DecodeError> Pack::resolve(const json& record) const {
  Entry entry;
  entry.number = records_;
  entry.name = bases_.name + record.value("n", std::string());
  entry.unit = record.value("u", bases_.unit);
  entry.time = bases_.time + record.value("t", 0.0);
  int values = 0;
  for (const char* label : {"v", "vs", "vb", "vd"}) values += record.contains(label) ? 1 : 0;
  if (record.contains("v")) entry.value = bases_.value + record["v"].get<double>();
  entry.other_content = !entry.value && (values > 0 || record.contains("s"));

  if (values > 1) {
    return refuse(
        Refusal::malformed,
        fmt::format("record {} has {} values: expected one of v, vs, vb and vd", records_, values));
  }
  if ((values > 0 || entry.other_content) && !is_valid_name(entry.name)) {
    return refuse(Refusal::malformed,
                  entry.name.empty()
                      ? fmt::format("record {} has no name: expected n, or bn before it", records_)
                      : fmt::format("record {} is named \"{}\": a name begins with a letter or "
                                    "digit and holds only those and - : . / _",
                                    records_, excerpt(entry.name)));
  }
  return entry;
}

bool Pack::wanted_by_unit(Quantity quantity) const {
  const auto& wanted = message_.format.measures;
  return wanted.empty() || std::any_of(wanted.begin(), wanted.end(), [&](const Measure& measure) {
           return measure.name.empty() && measure.quantity == quantity;
         });
}

Pack::MaybeFound Pack::find_by_unit(const Entry& entry) {
  const std::optional<Measured> found = measured_in(entry.unit);
  if (!entry.value || !found || !wanted_by_unit(found->quantity)) return std::nullopt;
  const std::string& known = names_by_unit_.try_emplace(found->quantity, entry.name).first->second;
  if (known == entry.name) return found;
  // Two probes in one pack: taking both would weave them into one sensor's history.
  return refuse(Refusal::malformed,
                fmt::format("records named \"{}\" and \"{}\" both hold {}: name the one to read "
                            "under measures in the configuration",
                            excerpt(known), excerpt(entry.name), facts(found->quantity).name));
}

Pack::MaybeFound Pack::find(const Entry& entry) {
  const auto& wanted = message_.format.measures;
  const auto named = std::find_if(wanted.begin(), wanted.end(), [&](const Measure& measure) {
    return !measure.name.empty() && measure.name == entry.name;
  });
  if (named == wanted.end()) return find_by_unit(entry);
  if (entry.other_content) {
    return refuse(Refusal::wrong_type,
                  fmt::format("record {}, \"{}\", holds no number in v: expected its {}",
                              entry.number, excerpt(entry.name), facts(named->quantity).name));
  }
  if (!entry.value) return std::nullopt;
  const std::optional<Measured> found = measured_in(entry.unit);
  if (found && found->quantity == named->quantity) return found;
  return refuse(
      Refusal::wrong_unit,
      fmt::format(
          "record {}, \"{}\", has {}: its {} is read in {}", entry.number, excerpt(entry.name),
          entry.unit.empty() ? "no unit" : fmt::format("the unit \"{}\"", excerpt(entry.unit)),
          facts(named->quantity).name, units_of(named->quantity)));
}

tl::expected<MeasuredAt, DecodeError> Pack::time_of(const Entry& entry) const {
  // A relative time moves with the arrival, so a redelivery would carry another: it counts as
  // stamped on arrival even where the record says how long ago it was.
  const bool relative = entry.time < kRelativeTimeLimit;
  if (relative && entry.time == 0.0) return arrival_time(message_.received_at);
  const double origin = relative ? static_cast<double>(unix_ms(message_.received_at)) : 0.0;
  const auto instant = checked_time(origin + entry.time * 1000.0, message_);
  if (!instant) return tl::unexpected(instant.error());
  return MeasuredAt{*instant, relative};
}

std::optional<DecodeError> Pack::take(const json& record) {
  ++records_;
  if (!record.is_object()) {
    return DecodeError{Refusal::malformed,
                       fmt::format("record {} is {}: expected an object such as {{\"n\": \"t\", "
                                   "\"u\": \"Cel\", \"v\": 21.5}}",
                                   records_, describe(record))};
  }
  if (auto error = check_labels(record)) return error;
  take_bases(record);
  const auto entry = resolve(record);
  if (!entry) return entry.error();
  const MaybeFound found = find(*entry);
  if (!found) return found.error();
  if (!*found) return std::nullopt;
  if (!std::isfinite(*entry->value)) {
    return DecodeError{
        Refusal::not_finite,
        fmt::format("record {}: bv and v add up to more than any sensor reads", records_)};
  }
  const auto measured = time_of(*entry);
  if (!measured) return measured.error();
  readings_.push_back(
      make_reading(message_, (*found)->quantity, (*found)->unit, *entry->value, *measured));
  return std::nullopt;
}

// What a pack would have had to hold, for the message about one that holds nothing usable.
std::string wanted_text(const PayloadFormat& format) {
  std::string names;
  for (const Measure& measure : format.measures) {
    if (measure.name.empty()) return "a record with the unit Cel, K or %RH";
    names += fmt::format("{}\"{}\"", names.empty() ? "" : " or ", excerpt(measure.name));
  }
  return names.empty() ? "a record with the unit Cel, K or %RH" : "a record named " + names;
}

Readings Pack::finish() && {
  if (!readings_.empty()) return std::move(readings_);
  return refuse(Refusal::missing_field,
                fmt::format("nothing to read in {} record{}: expected {}", records_,
                            records_ == 1 ? "" : "s", wanted_text(message_.format)));
}

}  // namespace

Readings decode_senml(const Message& message) {
  const auto document = parse_json(message.payload);
  if (!document) return tl::unexpected(document.error());
  if (!document->is_array()) {
    return refuse(Refusal::malformed,
                  fmt::format("the message is {}: a SenML pack is an array of records, in square "
                              "brackets",
                              describe(*document)));
  }
  Pack pack(message);
  for (const json& record : *document) {
    if (auto error = pack.take(record)) return tl::unexpected(*std::move(error));
  }
  return std::move(pack).finish();
}

}  // namespace torpor::decoding
