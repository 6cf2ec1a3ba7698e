// The judges as JSON and back: { "sensors": [[id, fields, [checks...], [means, start, fields]
// |null]...], "companies": [[place, quantity, [ids...], fields]...] }. Fields are what each class
// lists in visit_fields, in that order; times in Unix ms, spans in ms, unknown as null. What does
// not fit is left out: a sensor that is new to the judges begins as one.
#include <nlohmann/json.hpp>

#include <deque>
#include <type_traits>

#include "rules/watch/saved_json.h"
#include "rules/watch/sensor_judges.h"

namespace torpor::rules {
namespace {

using nlohmann::json;

template <class T>
struct IsList : std::false_type {};
template <class T>
struct IsList<std::vector<T>> : std::true_type {};
template <class T>
struct IsList<std::deque<T>> : std::true_type {};

class FieldWriter {
 public:
  template <class... T>
  void operator()(T&... fields) {
    (list.push_back(write(fields)), ...);
  }
  json list = json::array();

 private:
  template <class T>
  static json write(T& field) {
    if constexpr (std::is_same_v<T, double>) {
      // CBOR keeps the bits, JSON has no NaN.
      return std::isnan(field) ? json(nullptr) : json(field);
    } else if constexpr (std::is_arithmetic_v<T> || std::is_same_v<T, std::string>) {
      return field;
    } else if constexpr (std::is_enum_v<T>) {
      return static_cast<int>(field);
    } else if constexpr (std::is_same_v<T, Instant>) {
      return unix_ms(field);
    } else if constexpr (std::is_same_v<T, Duration>) {
      return field.count();
    } else if constexpr (IsList<T>::value) {
      json items = json::array();
      for (auto& item : field) items.push_back(write(item));
      return items;
    } else {
      return write_whole(field);
    }
  }
  template <class T>
  static json write_whole(std::optional<T>& field) {
    // An empty list: null could be an unknown number inside.
    return field ? json::array({write(*field)}) : json::array();
  }
  template <class T, std::size_t N>
  static json write_whole(std::array<T, N>& field) {
    json items = json::array();
    for (T& item : field) items.push_back(write(item));
    return items;
  }
  template <class T>
  static json write_whole(T& field) {
    FieldWriter inner;
    field.visit_fields(inner);
    return std::move(inner.list);
  }
};

class FieldReader {
 public:
  explicit FieldReader(const json& list) : list_(list) {}
  template <class... T>
  void operator()(T&... fields) {
    (read_next(fields), ...);
  }

 private:
  // What an older snapshot lacks at its end keeps its default.
  template <class T>
  void read_next(T& field) {
    if (next_ < list_.size()) read(list_[next_++], field);
  }
  template <class T>
  static void read(const json& j, T& field) {
    if constexpr (std::is_same_v<T, double>) {
      field = j.is_null() ? std::numeric_limits<double>::quiet_NaN() : j.get<double>();
    } else if constexpr (std::is_same_v<T, bool> || std::is_same_v<T, std::string>) {
      field = j.get<T>();
    } else if constexpr (std::is_arithmetic_v<T>) {
      field = whole_from<T>(j);
    } else if constexpr (std::is_same_v<T, Quantity>) {
      field = quantity_from(j);
    } else if constexpr (std::is_same_v<T, GuidedCheck::State>) {
      field = enum_from(j, GuidedCheck::State::waiting, GuidedCheck::State::failed);
    } else if constexpr (std::is_same_v<T, Instant>) {
      field = instant_from(j);
    } else if constexpr (std::is_same_v<T, Duration>) {
      field = duration_from(j);
    } else if constexpr (IsList<T>::value) {
      field.clear();
      for (const json& each : j) {
        field.emplace_back();
        read(each, field.back());
      }
    } else {
      read_whole(j, field);
    }
  }
  template <class T>
  static void read_whole(const json& j, std::optional<T>& field) {
    field.reset();
    if (j.empty()) return;
    T value{};
    read(j.at(0), value);
    field = value;
  }
  template <class T, std::size_t N>
  static void read_whole(const json& j, std::array<T, N>& field) {
    for (std::size_t i = 0; i < N; ++i) read(j.at(i), field[i]);
  }
  template <class T>
  static void read_whole(const json& j, T& field) {
    FieldReader inner(j);
    field.visit_fields(inner);
  }

  const json& list_;
  std::size_t next_ = 0;
};

// Every moment among the fields, and nothing else.
class FieldShifter {
 public:
  explicit FieldShifter(const std::function<Instant(Instant)>& moved) : moved_(moved) {}
  template <class... T>
  void operator()(T&... fields) {
    (shift(fields), ...);
  }

 private:
  template <class T>
  void shift(T& field) {
    if constexpr (std::is_same_v<T, Instant>) {
      field = moved_(field);
    } else if constexpr (std::is_arithmetic_v<T> || std::is_enum_v<T> ||
                         std::is_same_v<T, std::string> || std::is_same_v<T, Duration>) {
      return;
    } else if constexpr (IsList<T>::value) {
      for (auto& item : field) shift(item);
    } else {
      shift_whole(field);
    }
  }
  template <class T>
  void shift_whole(std::optional<T>& field) {
    if (field) shift(*field);
  }
  template <class T, std::size_t N>
  void shift_whole(std::array<T, N>& field) {
    for (T& item : field) shift(item);
  }
  template <class T>
  void shift_whole(T& field) {
    field.visit_fields(*this);
  }

  const std::function<Instant(Instant)>& moved_;
};

template <class T>
json fields_of(const T& whole) {
  FieldWriter writer;
  const_cast<T&>(whole).visit_fields(writer);  // one list of fields for both ways; it only reads
  return std::move(writer.list);
}

template <class T>
void read_fields(const json& j, T& whole) {
  FieldReader reader(j);
  whole.visit_fields(reader);
}

// Hours since 1970.
std::int64_t hour_after(std::int64_t hour, const std::function<Instant(Instant)>& moved) {
  constexpr std::int64_t kHour = 3'600'000;  // ms
  return unix_ms(moved(instant_of(hour * kHour))) / kHour;
}

// A salt's number, null for ice, [quantity, value, uncertainty] of another instrument.
json means_json(const CheckMeans& means) {
  if (const Instrument* beside = instrument_of(means)) {
    return {static_cast<int>(beside->quantity), beside->value, beside->uncertainty};
  }
  const Salt* salt = salt_of(means);
  return salt != nullptr ? json(static_cast<int>(*salt)) : json(nullptr);
}

CheckMeans means_from(const json& j) {
  if (j.is_null()) return MeltingIce{};
  if (!j.is_array()) return enum_from(j, Salt::lithium_chloride, Salt::potassium_sulphate);
  return Instrument{quantity_from(j.at(0)), j.at(1).get<double>(), j.at(2).get<double>()};
}

}  // namespace

void SensorJudges::shift(const std::vector<bool>& own_clock,
                         const std::function<Instant(Instant)>& moved) {
  FieldShifter shifter(moved);
  for (std::size_t i = 0; i < sensors_.size(); ++i) {
    if (own_clock[i]) continue;
    sensors_[i].visit_fields(shifter);
    for (Value& value : sensors_[i].values) {
      std::vector<DayRange::Hour> hours = std::exchange(value.range.hours, {});
      for (DayRange::Hour& hour : hours) {
        hour.hour = hour_after(hour.hour, moved);
        if (!value.range.hours.empty() && value.range.hours.back().hour >= hour.hour) continue;
        value.range.hours.push_back(hour);
      }
    }
    for (Look& look : sensors_[i].looks) {
      for (std::size_t place = 0; place < look.values.size(); ++place) {
        // Moments written as numbers.
        if (source_of(kJudgeOrder[place]) != Source::judges_since) continue;
        double& since = look.values[place];
        if (std::isnan(since) || since == kNot) continue;
        since = static_cast<double>(unix_ms(moved(instant_of(static_cast<std::int64_t>(since)))));
      }
    }
  }
  for (Company& company : companies_) {
    const bool any_own = std::any_of(company.sensors.begin(), company.sensors.end(),
                                     [&](std::size_t sensor) { return own_clock[sensor]; });
    if (!any_own)
      company.agreement.carry_hour([&](std::int64_t hour) { return hour_after(hour, moved); });
  }
}

json SensorJudges::company_key(const Company& company) const {
  json ids = json::array();
  for (const std::size_t sensor : company.sensors) ids.push_back(ids_[sensor]);
  return {company.place, static_cast<int>(company.quantity), ids};
}

json SensorJudges::save() const {
  json sensors = json::array(), companies = json::array();
  for (std::size_t i = 0; i < sensors_.size(); ++i) {
    const Sensor& sensor = sensors_[i];
    json checks = json::array(), waiting = nullptr;
    for (const Check& check : sensor.calibration.checks()) checks.push_back(fields_of(check));
    if (sensor.check) {
      waiting = {means_json(sensor.check->means()), unix_ms(sensor.check->start()),
                 fields_of(*sensor.check)};
    }
    sensors.push_back({ids_[i], fields_of(sensor), checks, waiting});
  }
  for (const Company& company : companies_) {
    json saved = company_key(company);
    saved.push_back(fields_of(company.agreement));
    companies.push_back(std::move(saved));
  }
  return {{"sensors", sensors}, {"companies", companies}};
}

void SensorJudges::load(const json& saved) {
  for (const json& each : saved.at("sensors")) {
    const auto known = std::find(ids_.begin(), ids_.end(), each.at(0).get<std::string>());
    if (known == ids_.end()) continue;
    Sensor& sensor = sensors_[static_cast<std::size_t>(known - ids_.begin())];
    read_fields(each.at(1), sensor);
    for (const json& fields : each.at(2)) {
      Check check;
      read_fields(fields, check);
      sensor.calibration.add(check);
    }
    if (each.at(3).is_null()) continue;
    const json& waiting = each.at(3);
    const Instant start = instant_from(waiting.at(1));
    sensor.check = GuidedCheck(means_from(waiting.at(0)), start);
    read_fields(waiting.at(2), *sensor.check);
  }
  for (const json& each : saved.at("companies")) {
    for (Company& company : companies_) {
      const json key = company_key(company);
      if (key.at(0) == each.at(0) && key.at(1) == each.at(1) && key.at(2) == each.at(2)) {
        read_fields(each.at(3), company.agreement);
      }
    }
  }
}

}  // namespace torpor::rules
