// Writes HTML with SVG inside it, escaped by construction: tags, attribute names and style sheets
// are literals of the program, and everything else goes through text() or an attribute's value,
// neither of which can become markup. It does not know which tags there are.
#pragma once

#include <initializer_list>
#include <string>
#include <string_view>
#include <utility>

namespace torpor::daemon {

// A string literal: nothing that was made at run time converts to it.
class Literal {
 public:
  consteval Literal(const char* text) : text_(text) {}
  [[nodiscard]] constexpr std::string_view text() const { return text_; }

 private:
  std::string_view text_;
};

struct Attribute {
  Attribute(Literal called, std::string said) : name(called), value(std::move(said)) {}
  Attribute(Literal called, const char* said) : name(called), value(said) {}
  Attribute(Literal called, std::string_view said) : name(called), value(said) {}
  // At most two decimals: a hundredth of a pixel.
  Attribute(Literal called, double number);

  Literal name;
  std::string value;
};
using Attributes = std::initializer_list<Attribute>;

class Markup {
 public:
  // An element that is open as long as this object lives. Elements end in the reverse order of
  // their begin, as scopes do.
  class Element {
   public:
    ~Element();
    Element(const Element&) = delete;
    Element& operator=(const Element&) = delete;

   private:
    friend class Markup;
    Element(Markup& page, Literal tag) : page_(page), tag_(tag) {}
    Markup& page_;
    Literal tag_;
  };

  // "<!DOCTYPE html>"
  void doctype();
  [[nodiscard]] Element in(Literal tag, Attributes attributes = {});
  // An element that holds nothing but text.
  void element(Literal tag, std::string_view text, Attributes attributes = {});
  // An HTML element that has no end: meta, link, br.
  void lone(Literal tag, Attributes attributes);
  // An SVG element without content.
  void shape(Literal tag, Attributes attributes);
  // Control characters and marks that turn the direction of writing are shown, not done
  // (printable.h).
  void text(std::string_view text);
  // The content of a style element.
  void style(Literal sheet);

  [[nodiscard]] std::string take();

 private:
  void begin(Literal tag, Attributes attributes);

  std::string page_;
};

}  // namespace torpor::daemon
