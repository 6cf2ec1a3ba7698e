#include "config/yaml_reader.h"

#include <fmt/core.h>
#include <fmt/format.h>

#include <algorithm>

#include "config/shown_text.h"

namespace torpor::config {
namespace {

std::string description(const YamlNode& node) {
  switch (node.kind) {
    case YamlNode::Kind::word:
      return node.text.empty() ? "an empty word" : quoted(node.text);
    case YamlNode::Kind::list:
      return "a list";
    case YamlNode::Kind::mapping:
      return "a mapping";
    case YamlNode::Kind::nothing:
    case YamlNode::Kind::refused:
      break;
  }
  return "nothing";
}

}  // namespace

std::string in_words(const std::vector<std::string>& words) {
  if (words.size() < 2) return words.empty() ? std::string() : words.front();
  return fmt::format("{} or {}", fmt::join(words.begin(), words.end() - 1, ", "), words.back());
}

std::string hint(const std::string& word, const std::vector<std::string>& known) {
  const std::string nearest = nearest_word(word, known);
  if (!nearest.empty()) return fmt::format("; did you mean `{}`?", nearest);
  return fmt::format("; known: {}", fmt::join(known, ", "));
}

std::size_t Field::offset() const {
  const bool missing = node_->kind == YamlNode::Kind::nothing && !node_->key.empty();
  return missing ? node_->key_at : node_->at;
}

void Field::fault(std::string_view message) const {
  faults_->add(offset(),
               path_.empty() ? std::string(message) : fmt::format("{}: {}", path_, message));
}

void Field::fault_expected(std::string_view expected) const {
  if (is(YamlNode::Kind::refused)) return;
  fault(fmt::format("found {}; expected {}", description(*node_), expected));
}

std::optional<std::string> Field::text(std::string_view expected) const {
  if (is(YamlNode::Kind::word)) return node_->text;
  fault_expected(expected);
  return std::nullopt;
}

std::optional<std::string> Field::word(std::string_view expected) const {
  if (is(YamlNode::Kind::word) && has_control_character(node_->text)) {
    fault(fmt::format("found {} with a line break or control character in it; expected {}",
                      quoted(node_->text), expected));
    return std::nullopt;
  }
  if (is(YamlNode::Kind::word) && !node_->text.empty()) return node_->text;
  fault_expected(expected);
  return std::nullopt;
}

std::optional<bool> Field::true_or_false() const {
  return one_of<bool>({{"true", true}, {"false", false}});
}

std::optional<std::vector<Field>> Field::list(std::string_view expected) const {
  if (!is(YamlNode::Kind::list)) {
    fault_expected(expected);
    return std::nullopt;
  }
  std::vector<Field> items;
  items.reserve(node_->children.size());
  for (const YamlNode& child : node_->children) {
    items.emplace_back(child, fmt::format("{} #{}", path_, items.size() + 1), *faults_);
  }
  return items;
}

std::optional<Mapping> Field::mapping(std::string_view expected) const {
  if (is(YamlNode::Kind::mapping) || is(YamlNode::Kind::nothing)) return Mapping(*this);
  fault_expected(expected);
  return std::nullopt;
}

std::optional<std::size_t> Field::index_of(const std::vector<std::string>& words) const {
  const std::string expected = in_words(words);
  const std::optional<std::string> found = word(expected);
  if (!found) return std::nullopt;
  const auto at = std::find(words.begin(), words.end(), *found);
  if (at != words.end()) return static_cast<std::size_t>(at - words.begin());
  const std::string nearest = nearest_word(*found, words);
  fault(fmt::format("found {}; expected {}{}", quoted(*found), expected,
                    nearest.empty() ? "" : fmt::format("; did you mean `{}`?", nearest)));
  return std::nullopt;
}

std::optional<Field> Mapping::find(std::string_view key) {
  if (std::find(known_.begin(), known_.end(), key) == known_.end()) known_.emplace_back(key);
  for (const YamlNode& child : field_.node().children) {
    if (child.key != key) continue;
    const std::string path =
        field_.path().empty() ? std::string(key) : fmt::format("{}.{}", field_.path(), key);
    return Field(child, path, field_.faults());
  }
  return std::nullopt;
}

std::optional<Field> Mapping::require(std::string_view key, std::string_view advice) {
  std::optional<Field> found = find(key);
  if (found) return found;
  const std::vector<YamlNode>& children = field_.node().children;
  const bool misspelt = std::any_of(children.begin(), children.end(), [&](const YamlNode& child) {
    return !nearest_word(child.key, {std::string(key)}).empty();
  });
  // A misspelt key is told as an unknown one; that it is missing as well helps nobody.
  if (!misspelt) field_.fault(fmt::format("`{}` is missing; {}", key, advice));
  return std::nullopt;
}

std::vector<Field> Mapping::all() const {
  std::vector<Field> fields;
  fields.reserve(field_.node().children.size());
  for (const YamlNode& child : field_.node().children) {
    const std::string path = field_.path().empty()
                                 ? quoted(child.key)
                                 : fmt::format("{}.{}", field_.path(), shown(child.key));
    fields.emplace_back(child, path, field_.faults());
  }
  return fields;
}

void Mapping::refuse_unknown_keys() const {
  for (const YamlNode& child : field_.node().children) {
    if (std::find(known_.begin(), known_.end(), child.key) != known_.end()) continue;
    const std::string where = field_.path().empty() ? "" : field_.path() + ": ";
    field_.faults().add(child.key_at, fmt::format("{}{} is not a key here{}", where,
                                                  quoted(child.key), hint(child.key, known_)));
  }
}

}  // namespace torpor::config
