#include "daemon/report/markup.h"

#include <fmt/format.h>

#include "daemon/report/printable.h"

namespace torpor::daemon {
namespace {

// Enough for text and for a value between double quotes.
void append_escaped(std::string& page, std::string_view text) {
  for (const char c : printable(text)) {
    switch (c) {
      case '&':
        page += "&amp;";
        break;
      case '<':
        page += "&lt;";
        break;
      case '>':
        page += "&gt;";
        break;
      case '"':
        page += "&quot;";
        break;
      default:
        page += c;
    }
  }
}

std::string decimal(double number) {
  std::string text = fmt::format("{:.2f}", number);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text == "-0" ? "0" : text;
}

}  // namespace

Attribute::Attribute(Literal called, double number) : name(called), value(decimal(number)) {}

Markup::Element::~Element() {
  page_.page_ += "</";
  page_.page_ += tag_.text();
  page_.page_ += '>';
}

void Markup::doctype() { page_ += "<!DOCTYPE html>\n"; }

void Markup::begin(Literal tag, Attributes attributes) {
  page_ += '<';
  page_ += tag.text();
  for (const Attribute& attribute : attributes) {
    page_ += ' ';
    page_ += attribute.name.text();
    page_ += "=\"";
    append_escaped(page_, attribute.value);
    page_ += '"';
  }
}

Markup::Element Markup::in(Literal tag, Attributes attributes) {
  begin(tag, attributes);
  page_ += '>';
  return {*this, tag};
}

void Markup::element(Literal tag, std::string_view text_inside, Attributes attributes) {
  const Element element = in(tag, attributes);
  text(text_inside);
}

void Markup::lone(Literal tag, Attributes attributes) {
  begin(tag, attributes);
  page_ += '>';
}

void Markup::shape(Literal tag, Attributes attributes) {
  begin(tag, attributes);
  page_ += "/>";
}

void Markup::text(std::string_view text) { append_escaped(page_, text); }

void Markup::style(Literal sheet) { page_ += sheet.text(); }

std::string Markup::take() { return std::exchange(page_, {}); }

}  // namespace torpor::daemon
