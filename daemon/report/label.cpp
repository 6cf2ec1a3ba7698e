#include "daemon/report/label.h"

#include <fmt/format.h>

#include <algorithm>

#include "config/host_port.h"
#include "daemon/ledger/answer_text.h"
#include "daemon/ledger/deeds.h"
#include "daemon/report/local_days.h"
#include "daemon/report/markup.h"
#include "daemon/report/printable.h"
#include "daemon/report/qr_code.h"

namespace torpor::daemon {
namespace {

// All in mm on a sheet of A4. Printers leave some 4 mm blank at the edges.
constexpr double kSheetWidth = 210.0, kSheetHeight = 297.0;
constexpr double kLabelWidth = 92.0, kLabelHeight = 54.0;
constexpr double kSheetLeft = 13.0, kSheetTop = 13.5;
constexpr std::size_t kColumns = 2;
constexpr double kInset = 4.0;
constexpr double kCodeSide = 27.0;  // a phone reads modules of half a mm and more from a hand away
// Letters of a sans serif take about this much of their size across.
constexpr double kLetterWidth = 0.62;
constexpr double kIdSize = 11.0, kTextSize = 3.6, kSmallSize = 2.8;

// The size at which `text` is at most `width` wide.
double fitting_size(std::string_view text, double largest, double width) {
  const int letters = std::max(1, display_width(text));
  return std::min(largest, width / (kLetterWidth * letters));
}

class Sheet {
 public:
  Sheet(const std::string& address, const LocalTime& zone, const PersonUnits& units)
      : address_(address), zone_(zone), units_(units) {}

  std::string draw(std::span<const Label> labels) {
    {
      const auto svg = page_.in("svg", {{"xmlns", "http://www.w3.org/2000/svg"},
                                        {"width", "210mm"},
                                        {"height", "297mm"},
                                        {"viewBox", "0 0 210 297"},
                                        {"font-family", "sans-serif"}});
      page_.shape("rect", {{"width", kSheetWidth}, {"height", kSheetHeight}, {"fill", "white"}});
      for (std::size_t i = 0; i < labels.size(); ++i) {
        const std::size_t row = i / kColumns;
        left_ = kSheetLeft + kLabelWidth * static_cast<double>(i % kColumns);
        top_ = kSheetTop + kLabelHeight * static_cast<double>(row);
        label(labels[i]);
      }
    }
    return page_.take();
  }

 private:
  void label(const Label& label) {
    // Where it is cut.
    page_.shape("rect", {{"x", left_},
                         {"y", top_},
                         {"width", kLabelWidth},
                         {"height", kLabelHeight},
                         {"fill", "none"},
                         {"stroke", "black"},
                         {"stroke-width", 0.2},
                         {"stroke-dasharray", "1 1"}});
    const double words = kLabelWidth - kCodeSide - 3.0 * kInset;
    const std::string id = printable(label.jar);
    write(id, 12.5, fitting_size(id, kIdSize, words), "bold");
    const std::string stage = fit_words(label.stage, kTextSize + 0.6, words);
    if (!stage.empty()) write(stage, 18.5, kTextSize + 0.6, "bold");
    write("closed " + day_words(label.closed, zone_), 24.0, kTextSize);
    write(fmt::format("cover {}", label.cover ? std::string(cover_name(*label.cover))
                                              : std::string("not told")),
          28.6, kTextSize);
    write(label.empty ? units_.in(fmt::format("empty {}", grams_text(*label.empty)))
                      : fmt::format("empty ........ {}", units_.weight_symbol()),
          33.2, kTextSize);
    not_food();
    code(label);
    // A line to write on.
    page_.shape("line", {{"x1", left_ + kInset},
                         {"x2", left_ + kLabelWidth - kInset},
                         {"y1", top_ + 46.0},
                         {"y2", top_ + 46.0},
                         {"stroke", "black"},
                         {"stroke-width", 0.3}});
    write(fmt::format("tell: {} all well", id), 50.8,
          fitting_size(fmt::format("tell: {} all well", id), kSmallSize, kLabelWidth - 2 * kInset));
  }

  static std::string fit_words(const std::string& text, double size, double width) {
    const int letters = static_cast<int>(width / (kLetterWidth * size));
    const std::string shown = printable(text);
    return display_width(shown) <= letters ? shown : fit(shown, letters);
  }

  void write(std::string_view text, double down, double size, const char* weight = "normal") {
    page_.element("text", text,
                  {{"x", left_ + kInset},
                   {"y", top_ + down},
                   {"font-size", size},
                   {"font-weight", weight},
                   {"fill", "black"}});
  }

  void not_food() {
    page_.shape("rect", {{"x", left_ + kInset},
                         {"y", top_ + 36.0},
                         {"width", 24.0},
                         {"height", 6.2},
                         {"fill", "black"}});
    page_.element("text", "NOT FOOD",
                  {{"x", left_ + kInset + 12.0},
                   {"y", top_ + 40.6},
                   {"font-size", 4.0},
                   {"font-weight", "bold"},
                   {"text-anchor", "middle"},
                   {"fill", "white"}});
  }

  void code(const Label& label) {
    const auto qr = qr_code(code_text(label, address_));
    if (!qr) return;
    const double module = kCodeSide / static_cast<double>(qr->side + 2 * kQuietZone);
    const double x = left_ + kLabelWidth - kInset - kCodeSide;
    const double y = top_ + kInset;
    std::string path;
    for (std::size_t row = 0; row < qr->side; ++row) {
      for (std::size_t column = 0; column < qr->side; ++column) {
        if (qr->at(column, row)) path += fmt::format("M{} {}h1v1h-1z", column, row);
      }
    }
    page_.shape("path", {{"d", path},
                         {"fill", "black"},
                         {"shape-rendering", "crispEdges"},
                         {"transform",
                          fmt::format("translate({:.3f} {:.3f}) scale({:.5f})",
                                      x + module * kQuietZone, y + module * kQuietZone, module)}});
    const std::string below = address_.empty() ? "ask " + label.jar : "its page";
    page_.element("text", printable(below),
                  {{"x", x + kCodeSide / 2.0},
                   {"y", y + kCodeSide + 2.0},
                   {"font-size", fitting_size(below, kSmallSize, kCodeSide)},
                   {"text-anchor", "middle"},
                   {"fill", "black"}});
  }

  const std::string& address_;
  const LocalTime& zone_;
  const PersonUnits units_;
  Markup page_;
  double left_ = 0.0, top_ = 0.0;  // of the label being drawn
};

}  // namespace

Label label_of(const Jar& jar, Instant now) {
  return {jar.made.jar, jar.made.stage, jar.closed(), cover_at(jar, now), jar.made.empty};
}

std::string code_text(const Label& label, const std::string& address) {
  if (address.empty()) return "ask " + label.jar;
  std::string_view base = address;
  while (!base.empty() && base.back() == '/') base.remove_suffix(1);
  return fmt::format("{}/jar/{}", base, label.jar);
}

std::string labels_svg(std::span<const Label> labels, const std::string& address,
                       const LocalTime& zone, const PersonUnits& units) {
  return Sheet(address, zone, units).draw(labels);
}

std::optional<std::string> unreachable_address(const std::string& address) {
  if (address.empty()) {
    return "the configuration names no `web: address`, so the code holds `ask ID` and no page; "
           "write how your phones reach this computer, for example address: "
           "http://cellar.lan:8457";
  }
  std::string_view rest = address;
  if (!config::take_prefix(rest, "https://")) (void)config::take_prefix(rest, "http://");
  const auto host = config::parse_host_port(rest.substr(0, rest.find('/')));
  const bool nowhere = !host || host->host == "0.0.0.0" || host->host == "::";
  if (!nowhere && !config::is_loopback(host->host)) return std::nullopt;
  return fmt::format(
      "{} is this computer's own and no other device reaches it: write under `web: address` the "
      "name or address by which your phones know it, for example http://cellar.lan:8457",
      printable(address));
}

}  // namespace torpor::daemon
