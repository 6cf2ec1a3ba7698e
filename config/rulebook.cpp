#include "config/rulebook.h"

#include <fmt/core.h>

#include <algorithm>
#include <iterator>
#include <map>
#include <set>
#include <utility>

#include "config/fault_list.h"
#include "config/shown_text.h"
#include "config/word_position.h"
#include "config/yaml_reader.h"
#include "config/yaml_tree.h"

namespace torpor::config {
namespace {

using rules::RuleField;

struct SentenceField {
  std::string_view key;
  RuleField field;
  std::string rules::RuleText::*text;
  std::string_view expected;
};

// The fields that are one word or sentence; `remedies` is a list.
const SentenceField kSentenceFields[] = {
    {"concerns", RuleField::concerns, &rules::RuleText::concerns, "place, jar, sensor or service"},
    {"when", RuleField::when, &rules::RuleText::when,
     "a condition such as `temperature above 27 °C lasting 2 h`"},
    {"until", RuleField::until, &rules::RuleText::until,
     "a condition such as `temperature below 25.5 °C lasting 30 min`"},
    {"urgency", RuleField::urgency, &rules::RuleText::urgency, "now, today or this-week"},
    {"why", RuleField::why, &rules::RuleText::why, "a sentence that says why it matters"},
};

// The fields that are lists of words.
struct ListField {
  std::string_view key;
  RuleField field;
  std::vector<std::string> rules::RuleText::*words;
  std::string_view expected, expected_item;
};
const ListField kRemedies{"remedies", RuleField::remedies, &rules::RuleText::remedies,
                          "a list of remedies, e.g. [shade, move]",
                          "the name of a remedy, e.g. shade"};
const ListField kExplains{"explains", RuleField::explains, &rules::RuleText::explains,
                          "a list of jar rules, e.g. [damp-topping]",
                          "the name of a rule, e.g. damp-topping"};

struct ReadList {
  const YamlNode* list = nullptr;
  std::vector<const YamlNode*> items;
};

// Reads one rule and puts each of its faults where the words stand.
class RuleReader {
 public:
  explicit RuleReader(const Field& field) : field_(field) { text_.name = field.node().key; }

  [[nodiscard]] std::optional<rules::Rule> read() {
    auto mapping = field_.mapping("{concerns: ..., when: ..., urgency: ..., why: ...}");
    if (!mapping) return std::nullopt;
    for (const SentenceField& sentence : kSentenceFields) read_sentence(*mapping, sentence);
    read_words(*mapping, kRemedies);
    read_words(*mapping, kExplains);
    mapping->refuse_unknown_keys();
    auto rule = rules::check_rule(text_);
    if (rule) return unreadable_.empty() ? std::optional(*std::move(rule)) : std::nullopt;
    for (const rules::RuleFault& fault : rule.error()) report(fault);
    return std::nullopt;
  }

  // What it explains are rules of its book, or of those that torpor brings along.
  void refuse_unknown(const std::vector<Field>& book) {
    std::vector<std::string> known;
    for (const Field& rule : book) known.push_back(rule.node().key);
    const auto is_known = [&known](const std::string& word) {
      return std::find(known.begin(), known.end(), word) != known.end();
    };
    if (std::all_of(text_.explains.begin(), text_.explains.end(), is_known)) return;
    FaultList none(built_in_rulebook(), "");
    if (const auto tree = parse_yaml(none)) {
      for (const YamlNode& section : tree->children) {
        for (const YamlNode& rule : section.children) known.push_back(rule.key);
      }
    }
    for (std::size_t i = 0; i < text_.explains.size(); ++i) {
      const std::string& word = text_.explains[i];
      if (is_known(word)) continue;
      const std::string near = nearest_word(word, known);
      report({RuleField::explains, i, 0, word.size(),
              fmt::format("there is no rule {}{}", quoted(word),
                          near.empty() ? std::string("; name one of this book, or of `built-in`")
                                       : fmt::format("; did you mean '{}'?", near))});
    }
  }

 private:
  void read_sentence(Mapping& mapping, const SentenceField& sentence) {
    const auto field = mapping.find(sentence.key);
    if (!field) return;  // check_rule() says what may not be missing
    const auto text = field->text(sentence.expected);
    if (!text) {
      unreadable_.insert(sentence.field);
      return;
    }
    text_.*sentence.text = *text;
    nodes_.emplace_back(sentence.field, &field->node());
  }

  // The words of a field that is a list.
  void read_words(Mapping& mapping, const ListField& list) {
    const auto field = mapping.find(list.key);
    if (!field) return;
    ReadList& read = lists_[list.field];
    read.list = &field->node();
    const auto items = field->list(list.expected);
    if (!items) {
      unreadable_.insert(list.field);
      return;
    }
    for (const Field& item : *items) {
      const auto word = item.word(list.expected_item);
      if (!word) {
        unreadable_.insert(list.field);
        continue;
      }
      (text_.*list.words).push_back(*word);
      read.items.push_back(&item.node());
    }
  }

  // The value that a fault is about; null: it is not there.
  [[nodiscard]] const YamlNode* node_of(const rules::RuleFault& fault) const {
    if (const auto list = lists_.find(fault.field); list != lists_.end()) {
      const ReadList& read = list->second;
      return fault.item < read.items.size() ? read.items[fault.item] : read.list;
    }
    for (const auto& [field, node] : nodes_) {
      if (field == fault.field) return node;
    }
    return nullptr;
  }

  void report(const rules::RuleFault& fault) {
    if (unreadable_.count(fault.field) > 0) return;  // told already
    FaultList& faults = field_.faults();
    const YamlNode* node = node_of(fault);
    std::size_t at = field_.node().key_at;
    if (fault.field == RuleField::name) {
      at = position_in_word(faults.text(), at, text_.name, fault.offset).value_or(at);
    } else if (node != nullptr) {
      at = node->kind == YamlNode::Kind::word
               ? position_in_word(faults.text(), node->at, node->text, fault.offset)
                     .value_or(node->at)
               : node->at;
    }
    faults.add(at, fmt::format("rule {}: {}", quoted(text_.name), fault.message));
  }

  Field field_;
  rules::RuleText text_;
  std::vector<std::pair<RuleField, const YamlNode*>> nodes_;
  std::map<RuleField, ReadList> lists_;
  std::set<RuleField> unreadable_;
};

void read_rules(const Field& root, rules::RuleBook& book) {
  auto mapping = root.mapping("`rules:` and the rules below it");
  if (!mapping) return;
  const auto rules_field =
      mapping->require("rules", "write `rules:` and the rules below it, indented");
  mapping->refuse_unknown_keys();
  if (!rules_field) return;
  const auto named =
      rules_field->mapping("rules by name, e.g. `warm-shelf: {concerns: place, ...}`");
  if (!named) return;
  const auto all = named->all();
  for (const Field& field : all) {
    RuleReader reader(field);
    auto rule = reader.read();
    if (!rule) continue;
    reader.refuse_unknown(all);
    book.push_back(*std::move(rule));
  }
}

// Where the book that `faults` holds writes the rule `name`.
std::size_t place_of_rule(const YamlNode& tree, const std::string& name) {
  for (const YamlNode& section : tree.children) {
    if (section.key != "rules") continue;
    for (const YamlNode& rule : section.children) {
      if (rule.key == name) return rule.key_at;
    }
  }
  return 0;
}

}  // namespace

RuleBookResult read_rulebook(std::string_view text, const std::string& file) {
  FaultList faults(text, file);
  RuleBookResult result;
  if (check_characters(faults, kLargestRuleBook)) {
    if (const auto tree = parse_yaml(faults)) read_rules(Field(*tree, "", faults), result.rules);
  }
  result.faults = faults.faults();
  return result;
}

void append_rules(rules::RuleBook& book, RuleBookResult more, std::string_view text,
                  const std::string& file, std::vector<Fault>& faults) {
  FaultList repeated(text, file);
  std::optional<YamlNode> tree;
  const std::size_t known = book.size();
  for (rules::Rule& rule : more.rules) {
    const auto end = book.begin() + static_cast<std::ptrdiff_t>(known);
    const bool taken = std::any_of(
        book.begin(), end, [&](const rules::Rule& other) { return other.name == rule.name; });
    if (!taken) {
      book.push_back(std::move(rule));
      continue;
    }
    if (!tree) {
      FaultList told_already(text, file);
      tree = parse_yaml(told_already);
    }
    repeated.add(tree ? place_of_rule(*tree, rule.name) : 0,
                 fmt::format("the rule {} is in a book read before this one; give it another name, "
                             "or take the other book off the list",
                             quoted(rule.name)));
  }
  std::vector<Fault> all = std::move(more.faults);
  const std::vector<Fault> found = repeated.faults();
  all.insert(all.end(), found.begin(), found.end());
  std::stable_sort(all.begin(), all.end(), [](const Fault& a, const Fault& b) {
    return std::pair(a.at.line, a.at.column) < std::pair(b.at.line, b.at.column);
  });
  faults.insert(faults.end(), std::make_move_iterator(all.begin()),
                std::make_move_iterator(all.end()));
}

}  // namespace torpor::config
