// YAML text -> a plain tree of words with their places. The one wrapper of yaml-cpp: its exceptions
// end here, as faults. Only the part of YAML that a settings file needs: one document, words,
// lists, mappings. Anchors, aliases and tags are refused, so no text can grow or loop when read.
//
//   valid:    a: 1            a: {b: "x", c: [1, 2]}        a: |
//                                                             text
//   refused:  a: &x 1         a: *x        a: !!str 1       ? [k]      a: 1
//                                                           : v        a: 2
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "config/fault_list.h"

namespace torpor::config {

// Nesting that no hand-written file reaches; bounds the stack of every walk over the tree.
inline constexpr std::size_t kDeepestNesting = 64;

struct YamlNode {
  // `refused`: already reported, readers say nothing more about it.
  enum class Kind { nothing, word, list, mapping, refused };
  Kind kind = Kind::nothing;
  std::size_t at = 0;  // byte offset of its first character
  std::string text;    // word: its value
  std::string key;     // child of a mapping: its key
  std::size_t key_at = 0;
  std::vector<YamlNode> children;  // list, mapping (keys unique), in file order
};

// Entries of one list or mapping: far above any storeroom, and it bounds the checks that compare
// entries with each other.
inline constexpr std::size_t kMostEntries = 10000;

// The root, or nullopt when the text is not well-formed (reported in `faults`). An empty text is
// `nothing`. What is refused but readable is reported, and the tree is returned without it.
// Precondition: check_characters(faults) was true.
[[nodiscard]] std::optional<YamlNode> parse_yaml(FaultList& faults);

}  // namespace torpor::config
