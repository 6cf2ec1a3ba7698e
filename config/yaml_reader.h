// Walks the tree of a settings file: a Field is a value that knows its path and place, a Mapping
// remembers which keys were asked for, so that every other key is a fault. All readers report what
// they refuse and return nothing; they go on so that one pass finds all faults.
#pragma once

#include <cstddef>
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "config/fault_list.h"
#include "config/yaml_tree.h"

namespace torpor::config {

class Mapping;

// Refers to the tree and the fault list; both must outlive it.
class Field {
 public:
  Field(const YamlNode& node, std::string path, FaultList& faults)
      : node_(&node), path_(std::move(path)), faults_(&faults) {}

  [[nodiscard]] const YamlNode& node() const { return *node_; }
  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] FaultList& faults() const { return *faults_; }
  // The value, or where it is missing its key.
  [[nodiscard]] std::size_t offset() const;
  [[nodiscard]] Mark mark() const { return faults_->mark(offset()); }
  [[nodiscard]] bool is(YamlNode::Kind kind) const { return node_->kind == kind; }

  // Reports "PATH: MESSAGE" here.
  void fault(std::string_view message) const;
  // Reports "PATH: found ..., expected ..." here; nothing where the node is already reported.
  void fault_expected(std::string_view expected) const;

  // A word that is not empty. `expected` finishes the sentence "expected ...".
  [[nodiscard]] std::optional<std::string> word(std::string_view expected) const;
  // A word that may be empty ("").
  [[nodiscard]] std::optional<std::string> text(std::string_view expected) const;
  [[nodiscard]] std::optional<bool> true_or_false() const;
  // The items; paths "PATH #1", "PATH #2".
  [[nodiscard]] std::optional<std::vector<Field>> list(std::string_view expected) const;
  // `nothing` is read as an empty mapping.
  [[nodiscard]] std::optional<Mapping> mapping(std::string_view expected) const;

  // One of a few words, each standing for a value.
  template <class Value>
  [[nodiscard]] std::optional<Value> one_of(
      std::initializer_list<std::pair<std::string_view, Value>> choices) const {
    std::vector<std::string> words;
    for (const auto& choice : choices) words.emplace_back(choice.first);
    const std::optional<std::size_t> index = index_of(words);
    if (!index) return std::nullopt;
    return (choices.begin() + *index)->second;
  }

 private:
  [[nodiscard]] std::optional<std::size_t> index_of(const std::vector<std::string>& words) const;

  const YamlNode* node_;
  std::string path_;
  FaultList* faults_;
};

class Mapping {
 public:
  explicit Mapping(Field field) : field_(std::move(field)) {}

  // The value of a key, if it is there. Asking makes the key known.
  [[nodiscard]] std::optional<Field> find(std::string_view key);
  // As find(); a missing key is a fault: "`KEY` is missing; ADVICE".
  [[nodiscard]] std::optional<Field> require(std::string_view key, std::string_view advice);
  // Every key, for mappings whose keys are names.
  [[nodiscard]] std::vector<Field> all() const;
  // Reports each key that was never asked for, with the nearest known one or all of them.
  void refuse_unknown_keys() const;

  [[nodiscard]] const Field& field() const { return field_; }

 private:
  Field field_;
  std::vector<std::string> known_;
};

// "a, b or c".
[[nodiscard]] std::string in_words(const std::vector<std::string>& words);
// "; did you mean `...`?" when a known word is near, else "; known: ...".
[[nodiscard]] std::string hint(const std::string& word, const std::vector<std::string>& known);

}  // namespace torpor::config
