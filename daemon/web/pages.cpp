#include "daemon/web/pages.h"

#include <fmt/format.h>

#include <optional>
#include <utility>

#include "daemon/clock/board_clock.h"
#include "daemon/ledger/sentence.h"
#include "daemon/report/gather.h"
#include "daemon/report/html_jar.h"
#include "daemon/report/life_picture.h"
#include "daemon/web/digest.h"
#include "daemon/web/web_pages.h"

namespace torpor::daemon {
namespace {

// A page made a moment ago is still true: however many ask, the history is read once in this time.
constexpr auto kStillTrue = std::chrono::seconds(10);
// Pages that are kept; more would be every jar of a large cellar.
constexpr std::size_t kMostKept = 64;
// Below this the header of the answer is larger than what packing saves.
constexpr std::size_t kWorthPacking = 1024;

constexpr const char* kHtml = "text/html; charset=utf-8";

struct Answer {
  int status = 200;
  std::string type, body;
};

Answer refused(int status, std::string_view heading, std::string_view sentence) {
  return {status, kHtml, plain_page(heading, sentence)};
}

Answer no_such_page() {
  return refused(404, "No such page", "There are /, /alerts, /sensors and /jar/ID.");
}

// One look into the history.
class HistoryPages {
 public:
  explicit HistoryPages(const PageSource& source) : source_(source) {}

  [[nodiscard]] Answer answer(std::string_view path) {
    auto reader = Reader::open(source_.history, source_.spool);
    if (!reader) return broken(reader.error());
    auto ledger = ledger_of(**reader);
    if (!ledger) return broken(ledger.error());
    const Instant now = shown_now(source_.settings, **reader, read_clocks());
    const auto gathering = Gathering::of(source_.settings, **reader, *ledger, now);
    if (!gathering) return broken(gathering.error());
    const PageContext context{source_.zone, now, source_.settings.storeroom,
                              PersonUnits(source_.settings.units)};
    Answer made =
        page_of(path, *gathering, *ledger,
                {"", Room::elsewhere, context, silent_for(source_.settings, **reader, now), true});
    // What was read from a damaged history looks like a short one: it is not shown as an answer.
    if (const auto fault = (*reader)->fault()) return broken(*fault);
    return made;
  }

 private:
  static Answer broken(const Error& error) {
    return refused(500, "The history cannot be read",
                   error.text +
                       ". Watching goes on. Look at the disk; a backup brings back what "
                       "is lost.");
  }

  [[nodiscard]] static Answer page_of(std::string_view path, const Gathering& gathering,
                                      const Ledger& ledger, WebFrame frame) {
    constexpr std::string_view kJar = "/jar/";
    if (path == "/") {
      frame.title = "Shelves";
      frame.room = Room::shelves;
      const auto places = gathering.places();
      const auto jars = gathering.jar_rows();
      return {200, kHtml, web_page(frame, [&](Markup& page) {
                write_shelves(page, {places, jars, gathering.open_alerts()}, frame.context.units);
              })};
    }
    if (path == "/alerts") {
      frame.title = "Alerts";
      frame.room = Room::alerts;
      return {200, kHtml, web_page(frame, [&](Markup& page) {
                write_alerts(page, gathering.open_alerts(), frame.context);
              })};
    }
    if (path == "/sensors") {
      frame.title = "Sensors";
      frame.room = Room::sensors;
      const auto sensors = gathering.sensors();
      return {200, kHtml,
              web_page(frame, [&](Markup& page) { write_sensors(page, sensors, frame.context); })};
    }
    if (path.starts_with(kJar)) {
      return jar_page(path.substr(kJar.size()), gathering, ledger, std::move(frame));
    }
    return no_such_page();
  }

  [[nodiscard]] static Answer jar_page(std::string_view id, const Gathering& gathering,
                                       const Ledger& ledger, WebFrame frame) {
    const Jar* jar = is_jar_id(id) ? ledger.find(id) : nullptr;
    if (jar == nullptr) {
      return refused(404, "No such jar", "No jar of this name is registered; / shows them all.");
    }
    HistoryRange range;
    range.curve_points = kPicturePoints;
    const auto view = gathering.jar_history(*jar, range);
    if (!view) return broken(view.error());
    frame.title = "Jar " + jar->made.jar;
    frame.room = Room::jar;
    return {200, kHtml,
            web_page(frame, [&](Markup& page) { write_jar(page, *view, frame.context); })};
  }

  const PageSource& source_;
};

// What never changes while the program runs.
std::optional<Answer> fixed_file(std::string_view path) {
  if (path == "/torpor.css") {
    return Answer{200, "text/css; charset=utf-8",
                  std::string(page_style().text()) + std::string(web_style().text())};
  }
  if (path == "/refresh.js") {
    return Answer{200, "text/javascript; charset=utf-8", std::string(web_refresher().text())};
  }
  if (path == "/icon.svg") return Answer{200, "image/svg+xml", jar_icon()};
  return std::nullopt;
}

std::shared_ptr<const WebPage> finished(Answer answer) {
  auto page = std::make_shared<WebPage>();
  page->status = answer.status;
  page->type = std::move(answer.type);
  page->body = std::move(answer.body);
  page->tag = '"' + digest(page->body).substr(0, 32) + '"';
  if (page->body.size() >= kWorthPacking) page->packed = gzipped(page->body);
  return page;
}

bool could_be_a_page(std::string_view path) {
  return path == "/" || path == "/alerts" || path == "/sensors" || path.starts_with("/jar/");
}

}  // namespace

Pages::Pages(PageSource source) : source_(std::move(source)) {}

void Pages::use(PageSource source) {
  source_ = std::move(source);
  kept_.clear();
}

std::shared_ptr<const WebPage> Pages::page(std::string_view path) {
  path = path.substr(0, path.find('?'));
  const auto now = std::chrono::steady_clock::now();
  if (const auto kept = kept_.find(path); kept != kept_.end()) {
    if (now - kept->second.made < kStillTrue) return kept->second.page;
  }
  std::shared_ptr<const WebPage> page;
  if (auto file = fixed_file(path)) {
    page = finished(std::move(*file));
  } else if (could_be_a_page(path)) {
    page = finished(HistoryPages(source_).answer(path));
  } else {
    page = finished(no_such_page());
  }
  // Only what exists is kept: names that are made up must not push it out.
  if (page->status == 200) {
    if (kept_.size() >= kMostKept) kept_.clear();
    kept_.insert_or_assign(std::string(path), Kept{page, now});
  }
  return page;
}

}  // namespace torpor::daemon
