#include "config/yaml_tree.h"

#include <fmt/core.h>
#include <yaml-cpp/yaml.h>

#include <yaml-cpp/eventhandler.h>

#include <algorithm>
#include <sstream>
#include <utility>

#include "config/shown_text.h"

namespace torpor::config {
namespace {

// Leaves yaml-cpp's parser early; the fault is already recorded. Never leaves this file.
struct Stop {};

// Finds the end of the quoted word at `at`: yaml-cpp takes the end of the file for its end.
bool quote_closes(std::string_view text, std::size_t at) {
  const char quote = text[at];
  for (std::size_t i = at + 1; i < text.size(); ++i) {
    if (quote == '"' && text[i] == '\\') {
      ++i;
    } else if (text[i] == quote) {
      if (quote == '"' || i + 1 >= text.size() || text[i + 1] != '\'') return true;
      ++i;
    }
  }
  return false;
}

// Builds the tree from yaml-cpp's events. Open collections are kept by value on a stack and join
// their parent when they end.
class Builder : public YAML::EventHandler {
 public:
  explicit Builder(FaultList& faults) : faults_(faults) {}

  YamlNode take_root() { return std::move(root_); }
  // Where the innermost collection that is still open began.
  [[nodiscard]] std::optional<std::size_t> open_at() const {
    if (open_.empty()) return std::nullopt;
    return open_.back().node.at;
  }

  void OnDocumentStart(const YAML::Mark& mark) override {
    if (++documents_ == 1) return;
    faults_.add(offset(mark),
                "the text goes on after its end: indentation or brackets end it before this line, "
                "or a second document starts; keep one document");
    throw Stop();
  }
  void OnDocumentEnd() override {}

  void OnNull(const YAML::Mark& mark, YAML::anchor_t anchor) override {
    YamlNode node;
    node.at = offset(mark);
    refuse_anchor(node, anchor);
    // yaml-cpp lets the last line of a mapping be a key without its colon; the value that is not
    // there then stands at the key.
    if (!open_.empty() && open_.back().by_lines && open_.back().has_key &&
        !open_.back().key_refused && open_.back().key_at == node.at) {
      faults_.add(node.at, fmt::format("found {} without a colon; expected `key: value`",
                                       quoted(open_.back().key)));
      open_.back().key_refused = true;
    }
    complete(std::move(node));
  }
  void OnAlias(const YAML::Mark& mark, YAML::anchor_t) override {
    YamlNode node;
    node.at = offset(mark);
    node.kind = YamlNode::Kind::refused;
    faults_.add(node.at, "aliases (*name) are not read here; write the value out");
    complete(std::move(node));
  }
  void OnScalar(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                const std::string& value) override {
    YamlNode node;
    node.kind = YamlNode::Kind::word;
    node.at = offset(mark);
    node.text = value;
    refuse_anchor(node, anchor);
    refuse_tag(node, tag);
    const std::string_view text = faults_.text();
    if (tag == "!" && (text[node.at] == '"' || text[node.at] == '\'') &&
        !quote_closes(text, node.at)) {
      faults_.add(node.at, fmt::format("the quote {} that opens here is never closed; close it",
                                       text[node.at]));
      throw Stop();
    }
    complete(std::move(node));
  }
  void OnSequenceStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                       YAML::EmitterStyle::value style) override {
    open(YamlNode::Kind::list, mark, tag, anchor, style);
  }
  void OnMapStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t anchor,
                  YAML::EmitterStyle::value style) override {
    open(YamlNode::Kind::mapping, mark, tag, anchor, style);
  }
  void OnSequenceEnd() override { close(); }
  void OnMapEnd() override {
    refuse_repeated_keys(open_.back().node);
    close();
  }

 private:
  struct Open {
    YamlNode node;
    bool by_lines = false;  // by indentation, not in brackets
    bool has_key = false;   // mapping: the key below waits for its value
    std::string key;
    std::size_t key_at = 0;
    bool key_refused = false;
  };

  static std::size_t offset(const YAML::Mark& mark) { return static_cast<std::size_t>(mark.pos); }

  void refuse_anchor(YamlNode& node, YAML::anchor_t anchor) {
    if (anchor == 0) return;
    faults_.add(node.at, "anchors (&name) are not read here; write the value out where it is used");
    node.kind = YamlNode::Kind::refused;
  }
  // yaml-cpp gives untagged words "?" (plain) or "!" (quoted, block).
  void refuse_tag(YamlNode& node, const std::string& tag) {
    if (tag.empty() || tag == "?" || tag == "!") return;
    faults_.add(node.at, "tags (!name) are not read here; write the value without one");
    node.kind = YamlNode::Kind::refused;
  }

  void open(YamlNode::Kind kind, const YAML::Mark& mark, const std::string& tag,
            YAML::anchor_t anchor, YAML::EmitterStyle::value style) {
    if (open_.size() == kDeepestNesting) {
      faults_.add(offset(mark), fmt::format("nested more than {} deep; expected a plain settings "
                                            "file: check the brackets and the indentation",
                                            kDeepestNesting));
      throw Stop();
    }
    Open next;
    next.node.kind = kind;
    next.by_lines = style == YAML::EmitterStyle::Block;
    next.node.at = offset(mark);
    refuse_anchor(next.node, anchor);
    refuse_tag(next.node, tag);
    open_.push_back(std::move(next));
  }

  void close() {
    YamlNode node = std::move(open_.back().node);
    open_.pop_back();
    complete(std::move(node));
  }

  // A node is whole: it is the root, an item, a key or the value of the key before it.
  void complete(YamlNode node) {
    if (open_.empty()) {
      root_ = std::move(node);
      return;
    }
    Open& parent = open_.back();
    if (parent.node.children.size() == kMostEntries) {
      faults_.add(node.at,
                  fmt::format("more than {} entries in one list or mapping; expected a file "
                              "a person keeps by hand: split it or check its name",
                              kMostEntries));
      throw Stop();
    }
    if (parent.node.kind == YamlNode::Kind::list) {
      parent.node.children.push_back(std::move(node));
    } else if (!parent.has_key) {
      take_key(parent, node);
    } else {
      parent.has_key = false;
      if (parent.key_refused) return;
      node.key = std::move(parent.key);
      node.key_at = parent.key_at;
      parent.node.children.push_back(std::move(node));
    }
  }

  void take_key(Open& parent, const YamlNode& node) {
    parent.has_key = true;
    parent.key = node.text;
    parent.key_at = node.at;
    parent.key_refused = node.kind != YamlNode::Kind::word || node.text.empty();
    if (parent.key_refused && node.kind != YamlNode::Kind::refused) {
      faults_.add(node.at, "found no word before the colon; expected `key: value`");
    }
  }

  void refuse_repeated_keys(YamlNode& mapping) {
    std::vector<std::size_t> order(mapping.children.size());
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
    const auto& children = mapping.children;
    std::stable_sort(order.begin(), order.end(), [&children](std::size_t a, std::size_t b) {
      return children[a].key < children[b].key;
    });
    std::vector<bool> repeated(order.size(), false);
    std::size_t first = 0;
    for (std::size_t i = 1; i < order.size(); ++i) {
      const YamlNode& one = children[order[first]];
      const YamlNode& other = children[order[i]];
      if (one.key != other.key) {
        first = i;
        continue;
      }
      repeated[order[i]] = true;
      faults_.add(other.key_at,
                  fmt::format("{} is written twice, first on line {}; keep one of them",
                              quoted(other.key), faults_.line(one.key_at)));
    }
    std::vector<YamlNode> kept;
    kept.reserve(mapping.children.size());
    for (std::size_t i = 0; i < mapping.children.size(); ++i) {
      if (!repeated[i]) kept.push_back(std::move(mapping.children[i]));
    }
    mapping.children = std::move(kept);
  }

  FaultList& faults_;
  int documents_ = 0;
  YamlNode root_;
  std::vector<Open> open_;
};

// The tab that indents the line of `at`, if one does.
std::optional<std::size_t> indenting_tab(std::string_view text, std::size_t at) {
  const std::size_t line_start = at == 0 ? 0 : text.rfind('\n', at - 1) + 1;
  const std::size_t tab = text.find_first_not_of(' ', line_start);
  if (tab == std::string_view::npos || tab > at || text[tab] != '\t') return std::nullopt;
  return tab;
}

// A sentence a keeper can act on for yaml-cpp's message at `at`.
std::string syntax_message(const std::string& message, std::string_view text, std::size_t at) {
  const char here = at < text.size() ? text[at] : '\n';
  if (message == YAML::ErrorMsg::UNKNOWN_TOKEN &&
      std::string_view("%@`").find(here) != std::string_view::npos) {
    return fmt::format("a word cannot begin with {0} unless it is quoted; write \"{0}...\"", here);
  }
  if (message == YAML::ErrorMsg::MAP_VALUE) {
    return "this colon cannot stand here: the line above may be indented less or lack its colon, "
           "or a word with a colon and a space in it needs quotes";
  }
  if (message == YAML::ErrorMsg::UNKNOWN_ANCHOR) {
    return "aliases (*name) are not read here; write the value out, or quote a word that begins "
           "with *";
  }
  // What follows a colon in the library's message is a raw piece of the text.
  return fmt::format(
      "this is not well-formed YAML ({}); check the brackets, quotes, colons and "
      "indentation of this line and the one above",
      message.substr(0, message.find(':')));
}

void report_syntax(FaultList& faults, const Builder& builder, const std::string& message,
                   std::size_t at) {
  const bool list = message == YAML::ErrorMsg::END_OF_SEQ_FLOW;
  const bool mapping = message == YAML::ErrorMsg::END_OF_MAP_FLOW;
  if ((list || mapping) && builder.open_at()) {
    // The end of the file tells nobody where the bracket is missing; its beginning does.
    const std::size_t open_at = *builder.open_at();
    const int noticed = faults.line(at);
    faults.add(
        open_at,
        fmt::format(
            "the {} that opens here is not closed, or a comma is missing in it{}; "
            "close it with {}",
            list ? "[" : "{",
            noticed == faults.line(open_at) ? "" : fmt::format(" (noticed on line {})", noticed),
            list ? "]" : "}"));
    return;
  }
  if (const auto tab = indenting_tab(faults.text(), at)) {
    faults.add(*tab, "the line is indented with a tab; indent with spaces");
    return;
  }
  faults.add(at, syntax_message(message, faults.text(), at));
}

}  // namespace

std::optional<YamlNode> parse_yaml(FaultList& faults) {
  Builder builder(faults);
  try {
    std::istringstream in{std::string(faults.text())};
    YAML::Parser parser(in);
    while (parser.HandleNextDocument(builder)) {
    }
    return builder.take_root();
  } catch (const Stop&) {
    return std::nullopt;
  } catch (const YAML::Exception& e) {
    const auto at = static_cast<std::size_t>(std::max(e.mark.pos, 0));
    report_syntax(faults, builder, e.msg, std::min(at, faults.text().size()));
    return std::nullopt;
  }
}

}  // namespace torpor::config
