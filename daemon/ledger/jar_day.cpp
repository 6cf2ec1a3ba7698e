// day      = format:u8 identity:u64 from:i64 to:i64 totals life names halves
// totals   = covered:i64 weighted:f64 time:f64 highest:optional
// life     = at:i64 then three ensembles: has:u8 [cautious:f64 likely:f64 hopeful:f64]
// names    = count:u8 text...                               each place and sensor of the steps once
// halves   = count:u8 (from:u32 to:u32 covered:u32 steps)...          times in ms since day.from
// steps    = count:u8 (from:u32 to:u32 place:u8 sensor:u8 hygrometer:u8, three optionals:
//            temperature, humidity, the hygrometer's own temperature)...
// optional = has:u8 [f64]
#include "daemon/ledger/jar_day.h"

#include <algorithm>

#include "daemon/history/little_endian.h"

namespace torpor::daemon {
namespace {

using rules::culture::Ensemble;

constexpr std::uint8_t kDayFormat = 1;

template <class Quantity>
void put_optional(std::string& bytes, const std::optional<Quantity>& value) {
  put_number(bytes, static_cast<std::uint8_t>(value ? 1 : 0));
  if (value) put_double(bytes, value->value());
}

template <class Quantity>
std::optional<Quantity> read_optional(ByteReader& bytes) {
  if (bytes.number<std::uint8_t>() == 0) return std::nullopt;
  return Quantity(bytes.real());
}

void put_ensemble(std::string& bytes, const std::optional<Ensemble>& value) {
  put_number(bytes, static_cast<std::uint8_t>(value ? 1 : 0));
  if (!value) return;
  for (const double member : {value->cautious, value->likely, value->hopeful}) {
    put_double(bytes, member);
  }
}

std::optional<Ensemble> read_ensemble(ByteReader& bytes) {
  if (bytes.number<std::uint8_t>() == 0) return std::nullopt;
  Ensemble value;
  for (double* member : {&value.cautious, &value.likely, &value.hopeful}) *member = bytes.real();
  return value;
}

// Places and sensors by number: a day has one or two of each.
class Names {
 public:
  std::uint8_t number_of(const std::string& name) {
    const auto known = std::find(names_.begin(), names_.end(), name);
    if (known == names_.end()) {
      names_.push_back(name);
      return static_cast<std::uint8_t>(names_.size() - 1);
    }
    return static_cast<std::uint8_t>(known - names_.begin());
  }
  [[nodiscard]] std::string bytes() const {
    std::string bytes;
    put_number(bytes, static_cast<std::uint8_t>(names_.size()));
    for (const std::string& name : names_) put_text(bytes, name);
    return bytes;
  }

 private:
  std::vector<std::string> names_;
};

std::string name_of(const std::vector<std::string>& names, std::uint8_t number) {
  return number < names.size() ? names[number] : std::string();
}

std::vector<std::string> read_names(ByteReader& bytes) {
  std::vector<std::string> names;
  for (auto left = bytes.number<std::uint8_t>(); left > 0 && !bytes.failed(); --left) {
    names.push_back(bytes.text());
  }
  return names;
}

std::uint32_t ms_since(Instant start, Instant t) {
  return static_cast<std::uint32_t>((t - start).count());
}

void put_half(std::string& bytes, const HalfDay& half, Instant start, Names& names) {
  put_number(bytes, ms_since(start, half.from));
  put_number(bytes, ms_since(start, half.to));
  put_number(bytes, static_cast<std::uint32_t>(half.covered.count()));
  put_number(bytes, static_cast<std::uint8_t>(half.steps.size()));
  for (const ExposureStep& step : half.steps) {
    put_number(bytes, ms_since(start, step.from));
    put_number(bytes, ms_since(start, step.to));
    for (const std::string* name : {&step.place, &step.sensor, &step.humidity_sensor}) {
      put_number(bytes, names.number_of(*name));
    }
    put_optional(bytes, step.temperature);
    put_optional(bytes, step.humidity);
    put_optional(bytes, step.humid_temperature);
  }
}

ExposureStep read_step(ByteReader& bytes, const std::vector<std::string>& names, Instant start) {
  ExposureStep step;
  step.from = start + Duration(bytes.number<std::uint32_t>());
  step.to = start + Duration(bytes.number<std::uint32_t>());
  step.place = name_of(names, bytes.number<std::uint8_t>());
  step.sensor = name_of(names, bytes.number<std::uint8_t>());
  step.humidity_sensor = name_of(names, bytes.number<std::uint8_t>());
  step.temperature = read_optional<Celsius>(bytes);
  step.humidity = read_optional<Percent>(bytes);
  step.humid_temperature = read_optional<Celsius>(bytes);
  return step;
}

HalfDay read_half(ByteReader& bytes, const std::vector<std::string>& names, Instant start) {
  HalfDay half;
  half.from = start + Duration(bytes.number<std::uint32_t>());
  half.to = start + Duration(bytes.number<std::uint32_t>());
  half.covered = Duration(bytes.number<std::uint32_t>());
  for (auto left = bytes.number<std::uint8_t>(); left > 0 && !bytes.failed(); --left) {
    half.steps.push_back(read_step(bytes, names, start));
  }
  return half;
}

}  // namespace

LifePoint life_point(const rules::culture::JarModel& model) {
  const rules::culture::Figures figures = model.figures();
  return {model.at(), figures.surface_activity, figures.body_activity,
          figures.wake_progress_percent};
}

std::string to_bytes(const JarDay& day, std::uint64_t identity) {
  std::string bytes;
  put_number(bytes, kDayFormat);
  put_number(bytes, identity);
  put_signed(bytes, unix_ms(day.from));
  put_signed(bytes, unix_ms(day.to));
  put_signed(bytes, day.air.covered.count());
  put_double(bytes, day.air.kinetic.sums().weighted);
  put_double(bytes, day.air.kinetic.sums().time_ms);
  put_optional(bytes, day.air.highest_temperature);
  put_signed(bytes, unix_ms(day.end.at));
  for (const auto* value :
       {&day.end.surface_activity, &day.end.body_activity, &day.end.wake_progress_percent}) {
    put_ensemble(bytes, *value);
  }
  Names names;
  std::string halves;
  put_number(halves, static_cast<std::uint8_t>(day.halves.size()));
  for (const HalfDay& half : day.halves) put_half(halves, half, day.from, names);
  return bytes + names.bytes() + halves;
}

std::optional<JarDay> jar_day_of(std::string_view stored, std::uint64_t identity) {
  ByteReader bytes(stored);
  if (bytes.number<std::uint8_t>() != kDayFormat) return std::nullopt;
  if (bytes.number<std::uint64_t>() != identity) return std::nullopt;
  JarDay day;
  day.from = instant_of(bytes.signed_number());
  day.to = instant_of(bytes.signed_number());
  day.air.covered = Duration(bytes.signed_number());
  MeanKinetic::Sums sums;
  sums.weighted = bytes.real();
  sums.time_ms = bytes.real();
  day.air.kinetic = MeanKinetic(sums);
  day.air.highest_temperature = read_optional<Celsius>(bytes);
  day.end.at = instant_of(bytes.signed_number());
  for (auto* value :
       {&day.end.surface_activity, &day.end.body_activity, &day.end.wake_progress_percent}) {
    *value = read_ensemble(bytes);
  }
  const std::vector<std::string> names = read_names(bytes);
  for (auto left = bytes.number<std::uint8_t>(); left > 0 && !bytes.failed(); --left) {
    day.halves.push_back(read_half(bytes, names, day.from));
  }
  return bytes.finished() ? std::optional(std::move(day)) : std::nullopt;
}

}  // namespace torpor::daemon
