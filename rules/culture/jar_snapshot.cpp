// A jar's state as bytes and back. Part of JarModel.
//
//   snapshot    := magic(8) version(8) fingerprint(8) checksum(8) state
//   fingerprint :  FNV-1a (64 bit) over profile, recipe and grid: bytes of another jar are refused
//   checksum    :  FNV-1a (64 bit) over the state's bytes
//   state       :  JarState::fields() in order, see archive.h
#include "rules/culture/archive.h"
#include "rules/culture/jar_model.h"

namespace torpor::rules::culture {
namespace {

constexpr std::uint64_t kMagic = 0x72616A726F707274;  // "trporjar", least byte first
// Raise it whenever JarState::fields() or the equations change: an older snapshot, and the days
// that were stored with it, are then worked out anew from the history.
constexpr std::uint64_t kVersion = 3;

std::uint64_t checksum(std::string_view bytes) {
  std::uint64_t hash = 0xCBF29CE484222325;
  for (const char byte : bytes) {
    hash ^= static_cast<unsigned char>(byte);
    hash *= 0x100000001B3;
  }
  return hash;
}

template <class T>
void put(Writer& writer, const std::optional<T>& told) {
  writer(told.has_value());
  if constexpr (std::is_same_v<T, Grams>) {
    writer(told.value_or(Grams(0.0)).value());
  } else {
    writer(told.value_or(T{}));
  }
}

std::uint64_t fingerprint(const Profile& profile, const JarRecipe& recipe, std::int64_t grid) {
  Writer writer;
  for (const Parameters& set : profile.sets) {
    for (const ParameterFacts& facts : parameter_facts()) writer(set.*facts.field);
  }
  for (const auto& told : {recipe.rice, recipe.raw, recipe.cooked_weight, recipe.sugar,
                           recipe.topping, recipe.empty_vessel}) {
    put(writer, told);
  }
  put(writer, recipe.cooked);
  put(writer, recipe.sugar_kind);
  put(writer, recipe.volume_ml);
  put(writer, recipe.mouth_mm);
  put(writer, recipe.cover);
  writer(recipe.closed);
  writer(recipe.parent_worked_in_sugar);
  writer(grid);
  return checksum(writer.take());
}

}  // namespace

std::uint64_t JarModel::identity() const {
  return fingerprint(*profile_, recipe_, grid_) + kVersion;
}

std::string JarModel::snapshot() const {
  Writer body;
  JarState copy = state_;
  copy.fields(body);
  const std::string state = body.take();
  Writer head;
  head(kMagic);
  head(kVersion);
  head(fingerprint(*profile_, recipe_, grid_));
  head(checksum(state));
  return head.take() + state;
}

tl::expected<void, std::string> JarModel::restore(std::string_view bytes) {
  constexpr std::size_t kHead = 32;
  const auto refused = [](const char* why) {
    return tl::unexpected(std::string("a jar's snapshot cannot be used: ") + why +
                          "; work the jar out from its history");
  };
  if (bytes.size() < kHead) return refused("it is cut short");
  Cursor head(bytes.substr(0, kHead));
  std::uint64_t magic = 0, version = 0, made_for = 0, sum = 0;
  head(magic);
  head(version);
  head(made_for);
  head(sum);
  if (magic != kMagic) return refused("it is none");
  if (version != kVersion) return refused("it is of another version");
  if (made_for != fingerprint(*profile_, recipe_, grid_)) {
    return refused("it is of another jar or profile");
  }
  const std::string_view state = bytes.substr(kHead);
  if (checksum(state) != sum) return refused("it is damaged");
  JarState restored;
  Cursor cursor(state);
  restored.fields(cursor);
  if (!cursor.complete()) return refused("its length is wrong");
  state_ = restored;
  refit();
  return {};
}

}  // namespace torpor::rules::culture
