// tokens -> tree.
//
//   condition  = any
//   any        = all { "or" all }
//   all        = unary { "and" unary }
//   unary      = { "not" } primary
//   primary    = ( clause | "(" any ")" ) [ "lasting" duration ]
//   clause     = expression comparison
//   comparison = ( "above" | "below" | "at least" | "at most" ) amount
//              | "between" amount "and" amount          binds before any other "and"
//   expression = term [ "minus" term ]
//   term       = quantity [ "at" place ]
//              | ( "average" | "highest" | "lowest" | "rise" ) "of" operand "over" duration
//              | "time" "with" ( clause | "(" any ")" ) "within" duration
//   operand    = quantity [ "at" place ] | "(" expression ")"
//   amount     = number [ unit ]                        the first of between may leave the unit out
//   duration   = number ( "s" | "min" | "h" | "d" )
//   quantity   = the words of one name of the table in rule_quantity.cpp
//   place      = a path as configured; "least" and "most" alone are words of the language
//
// Keywords and quantities are read without case, units with it.
//
// Valid:   temperature above 27 °C lasting 2 h
//          (humidity at least 85 % or dew point above 18 °C) and not temperature below 50 °F
//          temperature minus temperature at outside above 3 K
//          time with temperature above 27 °C within 7 d at least 10 h
// Invalid: temperature over 27 °C              write above
//          temperature above 27                no unit
//          temperature above 27 °C for 2 h     write lasting
//          temperature above 27 °C lasting 2 h lasting 3 h     group with parentheses

#include <algorithm>
#include <array>
#include <utility>

#include "rules/book/near_word.h"
#include "rules/book/parsed_condition.h"

namespace torpor::rules {
namespace {

bool has_control_character(std::string_view text) {
  return std::any_of(text.begin(), text.end(),
                     [](unsigned char byte) { return byte < 0x20 || byte == 0x7f; });
}

constexpr std::array<std::string_view, 14> kKeywords{
    "above",   "below", "at", "between", "minus", "over", "within",
    "lasting", "and",   "or", "not",     "of",    "with", "for"};

constexpr std::array<std::string_view, 5> kComparisonStarts{"above", "below", "at least", "at most",
                                                            "between"};

constexpr std::string_view kComparisonList = "above, below, at least, at most or between";

// What people write, and the word of the language for it.
struct Synonym {
  std::string_view written, meant;
};
constexpr std::array kSynonyms{
    Synonym{"over", "above"},
    Synonym{"under", "below"},
    Synonym{">", "above"},
    Synonym{"<", "below"},
    Synonym{">=", "at least"},
    Synonym{"<=", "at most"},
    Synonym{"exceeds", "above"},
    Synonym{"more", "above"},
    Synonym{"greater", "above"},
    Synonym{"higher", "above"},
    Synonym{"less", "below"},
    Synonym{"lower", "below"},
    Synonym{"reaches", "at least"},
    Synonym{"for", "lasting"},
    Synonym{"during", "lasting"},
    Synonym{"&&", "and"},
    Synonym{"&", "and"},
    Synonym{"||", "or"},
    Synonym{"!", "not"},
    Synonym{"in", "at"},
    Synonym{"-", "minus"},
};

std::string_view synonym_of(const Token& token) {
  const std::string_view word = token.kind == TokenKind::word ? token.lower : token.text;
  for (const Synonym& row : kSynonyms) {
    if (row.written == word) return row.meant;
  }
  return {};
}

bool is_keyword(const Token& token) {
  return token.kind == TokenKind::word &&
         std::find(kKeywords.begin(), kKeywords.end(), token.lower) != kKeywords.end();
}

bool is_quantity_name(std::string_view name) {
  const auto rows = rule_quantities();
  return std::any_of(rows.begin(), rows.end(), [&](const auto& row) { return row.name == name; });
}

std::string found(const Token& token) {
  return token.kind == TokenKind::end ? "the end" : quoted(token.text);
}

class Parser {
 public:
  Parser(std::string_view text, std::vector<RuleFault>& faults)
      : tokens_(tokens_of(text)), faults_(faults) {}

  ParsedNode whole() {
    ParsedNode node = any();
    while (!stopped_ && !at_end()) {
      // Only a stray ")" comes back here: every operand ends at a boundary.
      fault(peek().span, "')' closes nothing; take it out or open a '(' before it");
      next();
      ignore_operand_gap();
      if (at("and") || at("or")) {
        next();
        (void)any();
      }
    }
    return node;
  }

 private:
  const Token& peek(std::size_t ahead = 0) const {
    return tokens_[std::min(position_ + ahead, tokens_.size() - 1)];
  }
  bool at_end() const { return peek().kind == TokenKind::end; }
  bool at(std::string_view word, std::size_t ahead = 0) const {
    return peek(ahead).kind == TokenKind::word && peek(ahead).lower == word;
  }
  const Token& next() {
    const Token& token = peek();
    if (!at_end()) ++position_;
    return token;
  }
  Span last_span() const { return position_ == 0 ? Span{} : tokens_[position_ - 1].span; }

  void fault(Span span, std::string message) {
    if (stopped_) return;
    faults_.push_back({RuleField::when, 0, span.offset, span.length, std::move(message)});
  }
  // Gives up: what follows would only be noise.
  void stop(Span span, std::string message) {
    fault(span, std::move(message));
    stopped_ = true;
    position_ = tokens_.size() - 1;
  }

  // "found 'over', expected above, ...; did you mean 'above'?"
  template <std::size_t N>
  void expected(std::string_view what, const std::array<std::string_view, N>& candidates) {
    const Token& token = peek();
    std::string message = "found " + found(token) + ", expected " + std::string(what);
    std::string_view meant = synonym_of(token);
    const auto fits = [&](std::string_view word) {
      return std::find(candidates.begin(), candidates.end(), word) != candidates.end();
    };
    if (!fits(meant)) meant = near_word(token.lower, candidates);
    if (!meant.empty()) message += "; did you mean '" + std::string(meant) + "'?";
    fault(token.span, std::move(message));
  }

  // To the next place where a clause can end.
  void skip_to_boundary() {
    int depth = 0;
    while (!at_end()) {
      if (peek().kind == TokenKind::open) ++depth;
      if (peek().kind == TokenKind::close && depth-- == 0) return;
      const bool joins_amounts = at("and") && peek(1).kind == TokenKind::number;
      if (depth == 0 && !joins_amounts && (at("and") || at("or") || at("lasting"))) return;
      next();
    }
  }

  bool at_operand_end() const {
    return at_end() || peek().kind == TokenKind::close || at("and") || at("or");
  }

  void ignore_operand_gap() {
    while (!at_operand_end()) next();
  }

  // Whatever stands between an operand and the next "and", "or", ")" is one mistake.
  void finish_operand(bool lasted) {
    if (at_operand_end() || stopped_) return;
    if (lasted && at("lasting")) {
      fault(peek().span, "a second 'lasting' here; group what comes before it in parentheses");
    } else {
      constexpr std::array<std::string_view, 3> kFollow{"and", "or", "lasting"};
      expected(lasted ? "and, or, or the end" : "and, or, lasting or the end", kFollow);
    }
    next();
    skip_to_boundary();
    while (at("lasting")) {
      next();
      skip_to_boundary();
    }
  }

  ParsedNode group_of(ParsedNode::Kind kind, std::string_view word) {
    const bool is_any = kind == ParsedNode::Kind::any;
    ParsedNode first = is_any ? all() : unary();
    if (!at(word)) return first;
    ParsedNode group;
    group.kind = kind;
    append(group, std::move(first));
    while (at(word)) {
      next();
      append(group, is_any ? all() : unary());
    }
    group.span = joined(group.parts.front().span, group.parts.back().span);
    return group;
  }

  // (A and B) and C is A and B and C.
  static void append(ParsedNode& group, ParsedNode part) {
    if (part.kind != group.kind) {
      group.parts.push_back(std::move(part));
      return;
    }
    for (ParsedNode& inner : part.parts) group.parts.push_back(std::move(inner));
  }

  ParsedNode any() { return group_of(ParsedNode::Kind::any, "or"); }
  ParsedNode all() { return group_of(ParsedNode::Kind::all, "and"); }

  // False, once reported: one more level would be too deep.
  bool enter(Span span) {
    if (++depth_ <= kDeepestNesting) return true;
    stop(span, "nested more than " + std::to_string(kDeepestNesting) +
                   " deep; write it with fewer parentheses, or as several rules");
    return false;
  }

  ParsedNode unary() {
    if (!at("not")) return primary();
    const Span word = next().span;
    ParsedNode node;
    if (enter(word)) {
      node.kind = ParsedNode::Kind::negation;
      node.parts.push_back(unary());
      node.span = joined(word, node.parts.front().span);
    }
    --depth_;
    return node;
  }

  ParsedNode primary() {
    ParsedNode node = peek().kind == TokenKind::open ? parenthesised() : clause();
    bool lasted = false;
    if (at("lasting")) {
      next();
      lasted = true;
      node = lasting(std::move(node));
    }
    finish_operand(lasted);
    return node;
  }

  ParsedNode lasting(ParsedNode of) {
    ParsedNode node;
    const auto length = duration("lasting");
    if (!length) {
      skip_to_boundary();
      return node;
    }
    node.kind = ParsedNode::Kind::lasting;
    node.length = *length;
    node.span = joined(of.span, length->span());
    node.parts.push_back(std::move(of));
    return node;
  }

  ParsedNode parenthesised() {
    const Span open = next().span;
    ParsedNode node;
    if (enter(open)) {
      node = any();
      if (peek().kind == TokenKind::close) {
        node.span = joined(open, next().span);
      } else {
        fault(open, "'(' is never closed; add ')' where the group ends");
      }
    }
    --depth_;
    return node;
  }

  ParsedNode clause() {
    if (++clauses_ > kMostClauses) {
      stop(peek().span, "more than " + std::to_string(kMostClauses) +
                            " comparisons; split it into several rules");
    }
    if (stopped_) return {};
    ParsedNode node;
    auto of = expression();
    if (of && comparison(node)) {
      node.kind = ParsedNode::Kind::clause;
      node.of = std::move(*of);
      node.span = joined(node.of.span, last_span());
    } else {
      skip_to_boundary();
    }
    return node;
  }

  bool comparison(ParsedNode& node) {
    if (at("above") || at("below")) {
      node.comparison = at("above") ? Comparison::above : Comparison::below;
      next();
    } else if (at("at") && (at("least", 1) || at("most", 1))) {
      node.comparison = at("least", 1) ? Comparison::at_least : Comparison::at_most;
      next();
      next();
    } else if (at("between")) {
      next();
      node.comparison = Comparison::between;
      return between_limits(node);
    } else {
      expected(kComparisonList, kComparisonStarts);
      return false;
    }
    auto limit = amount("an amount such as 27 °C");
    if (limit) node.limit = std::move(*limit);
    return limit.has_value();
  }

  bool between_limits(ParsedNode& node) {
    auto lower = amount("the lower of two amounts");
    if (!lower) return false;
    if (!at("and")) {
      constexpr std::array<std::string_view, 1> kAnd{"and"};
      expected("'and' and the upper amount", kAnd);
      return false;
    }
    next();
    auto upper = amount("the upper of two amounts");
    if (!upper) return false;
    if (lower->unit.empty()) lower->unit = upper->unit;
    node.limit = std::move(*lower);
    node.upper = std::move(*upper);
    return true;
  }

  std::optional<ParsedAmount> amount(std::string_view what) {
    const Token& number = peek();
    if (number.kind != TokenKind::number) {
      fault(number.span, "found " + found(number) + ", expected " + std::string(what));
      return std::nullopt;
    }
    if (!number.readable) {
      fault(number.span,
            quoted(number.text) + " is not a number here; write digits with a point, such as 27.5");
      return std::nullopt;
    }
    next();
    ParsedAmount amount{number.number, {}, number.span, {number.span.end(), 0}};
    if (peek().kind == TokenKind::word && !is_keyword(peek())) {
      amount.unit_span = peek().span;
      amount.unit = std::string(next().text);
    }
    return amount;
  }

  std::optional<ParsedAmount> duration(std::string_view after) {
    return amount("a duration after '" + std::string(after) + "', such as 2 h");
  }

  std::optional<ParsedExpression> expression() {
    auto first = term();
    if (!first) return std::nullopt;
    ParsedExpression expression{first->span, std::move(*first), std::nullopt};
    if (at("minus")) {
      next();
      auto second = term();
      if (!second) return std::nullopt;
      expression.span = joined(expression.span, second->span);
      expression.minus = std::move(*second);
    }
    return expression;
  }

  std::optional<ParsedTerm> term() {
    struct Start {
      std::string_view word;
      WindowKind kind;
    };
    constexpr std::array kStarts{
        Start{"average", WindowKind::average}, Start{"highest", WindowKind::highest},
        Start{"lowest", WindowKind::lowest}, Start{"rise", WindowKind::rise}};
    for (const Start& start : kStarts) {
      if (at(start.word)) return window(start.kind);
    }
    if (at("time") && at("with", 1)) return time_with();
    return quantity();
  }

  std::optional<ParsedTerm> window(WindowKind kind) {
    const Token& word = next();
    if (!at("of")) {
      fault(peek().span, "found " + found(peek()) + ", expected 'of' after '" + word.lower +
                             "': " + word.lower + " of temperature over 24 h");
      return std::nullopt;
    }
    next();
    ParsedTerm term;
    term.window = kind;
    auto of = operand();
    if (!of) return std::nullopt;
    term.of = std::make_shared<const ParsedExpression>(std::move(*of));
    return finish_window(std::move(term), word.span, "over");
  }

  std::optional<ParsedExpression> operand() {
    if (peek().kind != TokenKind::open) {
      auto only = quantity();
      if (!only) return std::nullopt;
      return ParsedExpression{only->span, std::move(*only), std::nullopt};
    }
    const Span open = next().span;
    std::optional<ParsedExpression> inner;
    if (enter(open)) inner = expression();
    --depth_;
    if (!inner) return std::nullopt;
    if (peek().kind != TokenKind::close) {
      fault(peek().span, "found " + found(peek()) + ", expected ')' after the quantity");
      return std::nullopt;
    }
    inner->span = joined(open, next().span);
    return inner;
  }

  std::optional<ParsedTerm> time_with() {
    const Span start = next().span;
    next();
    ParsedTerm term;
    term.window = WindowKind::time_with;
    ParsedNode with = peek().kind == TokenKind::open ? parenthesised() : clause();
    if (with.kind == ParsedNode::Kind::broken) return std::nullopt;
    term.with = std::make_shared<const ParsedNode>(std::move(with));
    return finish_window(std::move(term), start, "within");
  }

  std::optional<ParsedTerm> finish_window(ParsedTerm term, Span start, std::string_view word) {
    if (!at(word)) {
      fault(peek().span, "found " + found(peek()) + ", expected '" + std::string(word) +
                             "' and a duration, such as " + std::string(word) + " 24 h");
      return std::nullopt;
    }
    next();
    auto length = duration(word);
    if (!length) return std::nullopt;
    term.length = std::move(*length);
    term.span = joined(start, last_span());
    return term;
  }

  std::optional<ParsedTerm> quantity() {
    const std::size_t words = phrase_length();
    if (words == 0) {
      fault(peek().span, "found " + found(peek()) + ", expected a quantity such as temperature");
      return std::nullopt;
    }
    ParsedTerm term;
    const Span first = peek().span;
    for (std::size_t i = 0; i < words; ++i) {
      if (i > 0) term.name += ' ';
      term.name += next().lower;
    }
    term.name_span = joined(first, last_span());
    if (at("at") && !at("least", 1) && !at("most", 1)) {
      next();
      if (peek().kind != TokenKind::word || is_keyword(peek())) {
        fault(peek().span, "found " + found(peek()) + ", expected a place after 'at'");
        return std::nullopt;
      }
      if (has_control_character(peek().text)) {
        fault(peek().span, "a place's path has no control characters");
        return std::nullopt;
      }
      term.place = std::string(next().text);
    }
    term.span = joined(first, last_span());
    return term;
  }

  // How many of the coming words name the quantity. The longest known name wins, so that in
  // "temperature abov 27 °C" the second word is the mistake.
  std::size_t phrase_length() const {
    std::size_t words = 0;
    while (peek(words).kind == TokenKind::word && !is_keyword(peek(words))) ++words;
    std::string phrase;
    std::size_t known = 0;
    for (std::size_t i = 0; i < words; ++i) {
      if (i > 0) phrase += ' ';
      phrase += peek(i).lower;
      if (is_quantity_name(phrase)) known = i + 1;
    }
    if (known > 0) return known;
    // "temprature abov 27 °C": two mistakes, and neither hides the other.
    const bool amount_follows = words > 1 && peek(words).kind == TokenKind::number;
    if (amount_follows && !near_word(peek(words - 1).lower, kComparisonStarts).empty()) --words;
    return words;
  }

  std::vector<Token> tokens_;
  std::vector<RuleFault>& faults_;
  std::size_t position_ = 0;
  int depth_ = 0;
  int clauses_ = 0;
  bool stopped_ = false;
};

}  // namespace

std::string quoted(std::string_view word, std::size_t longest) {
  const bool cut = word.size() > longest;
  if (cut) {
    word = word.substr(0, longest);
    while (!word.empty() && (static_cast<unsigned char>(word.back()) & 0xC0U) == 0x80U) {
      word.remove_suffix(1);
    }
    if (!word.empty() && static_cast<unsigned char>(word.back()) >= 0xC0U) word.remove_suffix(1);
  }
  std::string text = "'";
  for (const char c : word) text += static_cast<unsigned char>(c) < 0x20U || c == 0x7F ? '?' : c;
  text += cut ? "...'" : "'";
  return text;
}

ParsedNode parse_condition(std::string_view text, std::vector<RuleFault>& faults) {
  if (text.size() > kLongestCondition) {
    faults.push_back({RuleField::when, 0, 0, 0,
                      "a condition of " + std::to_string(text.size()) + " bytes; at most " +
                          std::to_string(kLongestCondition) + " are read: split the rule"});
    return {};
  }
  return Parser(text, faults).whole();
}

}  // namespace torpor::rules
