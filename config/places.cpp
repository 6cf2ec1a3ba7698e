#include <fmt/core.h>

#include <algorithm>
#include <map>
#include <utility>

#include "config/amounts.h"
#include "config/names.h"
#include "config/sections.h"
#include "config/shown_text.h"

namespace torpor::config {
namespace {

// A place's path stands in topics, tables and notices.
constexpr std::size_t kLongestPath = 200;

class PlacesReader {
 public:
  explicit PlacesReader(std::vector<PlaceSettings>& places) : places_(places) {}

  void read_all(const Mapping& mapping, const std::string& parent) {
    std::map<std::string, std::string> names;
    for (const Field& field : mapping.all()) {
      const std::string& name = field.node().key;
      check_name(field, name, names);
      // A refused name is kept, cut short: the sensors that hang there are not to blame.
      const std::string path =
          (parent.empty() ? "" : parent + "/") + name.substr(0, 2 * kLongestId);
      if (path.size() > kLongestPath) {
        field.faults().add(field.node().key_at,
                           fmt::format("{}: found a path of {} characters; expected at most {}: "
                                       "shorten the names or nest less",
                                       field.path(), path.size(), kLongestPath));
        continue;
      }
      read_one(field, path);
    }
  }

 private:
  static void check_name(const Field& field, const std::string& name,
                         std::map<std::string, std::string>& names) {
    if (!is_id(name)) {
      field.faults().add(
          field.node().key_at,
          fmt::format("found {} as the name of a place; expected {}", quoted(name), kIdExpected));
      return;
    }
    const auto [other, fresh] = names.emplace(without_case(name), name);
    if (!fresh) {
      field.faults().add(field.node().key_at,
                         fmt::format("found {} beside {}; names that differ only in case are one "
                                     "place: rename one",
                                     quoted(name), quoted(other->second)));
    }
  }

  void read_one(const Field& field, const std::string& path) {
    PlaceSettings place;
    place.path = path;
    place.outside = path == "outside";
    auto mapping = field.mapping("{}, {volume: 18 m3} or {holds: {NAME: {}}}");
    if (!mapping) {
      places_.push_back(std::move(place));
      return;
    }
    if (const auto volume = mapping->find("volume")) read_volume(*volume, place);
    read_outside(field, mapping->find("outside"), place);
    const auto holds = mapping->find("holds");
    mapping->refuse_unknown_keys();
    places_.push_back(std::move(place));
    if (!holds) return;
    if (const auto inner = holds->mapping("the places inside, e.g. {shelf-1: {}, shelf-2: {}}")) {
      read_all(*inner, path);
    }
  }

  static void read_volume(const Field& field, PlaceSettings& place) {
    const auto text = field.word("a volume such as `18 m3` or `400 l`");
    if (!text) return;
    const auto volume = parse_volume_m3(*text);
    if (!volume) return field.fault(volume.error());
    place.volume_m3 = *volume;
  }

  void read_outside(const Field& place_field, const std::optional<Field>& field,
                    PlaceSettings& place) {
    const auto said = field ? field->true_or_false() : std::nullopt;
    if (said == false && place.outside) {
      field->fault(
          "a top-level place named `outside` is outside; rename the place or take this "
          "line away");
      return;
    }
    place.outside = place.outside || said.value_or(false);
    if (!place.outside) return;
    if (!outside_.empty()) {
      const Field& where = field ? *field : place_field;
      where.faults().add(field ? field->offset() : place_field.node().key_at,
                         fmt::format("{}: {} is outside already; only one place can be",
                                     where.path(), quoted(outside_)));
      return;
    }
    outside_ = place.path;
  }

  std::vector<PlaceSettings>& places_;
  std::string outside_;
};

}  // namespace

bool read_places(const Field& field, std::vector<PlaceSettings>& places) {
  const auto mapping = field.mapping("a mapping of places, e.g. {cellar: {holds: {shelf-1: {}}}}");
  if (!mapping) return false;
  PlacesReader(places).read_all(*mapping, "");
  return true;
}

}  // namespace torpor::config
