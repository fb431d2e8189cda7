/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "page/browser.h"

#include "base/array.h"

#include <fcntl.h>
#include <nettle/base64.h>
#include <poll.h>
#include <sys/wait.h>
#include <unistd.h>

enum { WAIT_MS = 60000, READ_FD = 3, WRITE_FD = 4, HIGH_FD = 20 };

struct browser {
    pid_t process;
    int to, from;
    char *buffer; /* bytes read and not yet taken */
    size_t n, room;
    int last; /* number of the last call */
    char *session, *url, *complaints;
    bool loaded;
};

/* In the child: the two ends where the browser looks for them, and nothing on the terminal. */
static void become_browser(const char *profile, int in, int out)
{
    char *data = xformat("--user-data-dir=%s", profile);
    const char *argv[] = {"chromium",
                          "--headless=new",
                          "--remote-debugging-pipe",
                          "--disable-gpu",
                          "--no-first-run",
                          data,
                          geteuid() == 0 ? "--no-sandbox" : NULL,
                          NULL};
    int quiet = open("/dev/null", O_RDWR);
    in = fcntl(in, F_DUPFD, HIGH_FD);
    out = fcntl(out, F_DUPFD, HIGH_FD);
    dup2(quiet, STDOUT_FILENO);
    dup2(quiet, STDERR_FILENO);
    dup2(in, READ_FD);
    dup2(out, WRITE_FD);
    execvp(argv[0], (char *const *)argv);
    _exit(127);
}

static void complain(browser *b, const char *what, const char *text)
{
    char *longer = xformat("%s%s: %s\n", b->complaints, what, text ? text : "?");
    free(b->complaints);
    b->complaints = longer;
}

static const char *text_at(const json_t *o, const char *one, const char *two)
{
    const json_t *inner = json_object_get(o, one);
    return json_string_value(two ? json_object_get(inner, two) : inner);
}

static void hear_console(browser *b, const json_t *params)
{
    char *all = json_dumps(json_object_get(params, "args"), JSON_COMPACT);
    complain(b, text_at(params, "type", NULL), all);
    free(all);
}

static void hear_event(browser *b, const char *method, const json_t *params)
{
    if (strcmp(method, "Page.loadEventFired") == 0)
        b->loaded = true;
    else if (strcmp(method, "Runtime.consoleAPICalled") == 0)
        hear_console(b, params);
    else if (strcmp(method, "Runtime.exceptionThrown") == 0)
        complain(b, "exception", text_at(params, "exceptionDetails", "text"));
    else if (strcmp(method, "Log.entryAdded") == 0)
        complain(b, text_at(params, "entry", "level"), text_at(params, "entry", "text"));
    else if (strcmp(method, "Page.javascriptDialogOpening") == 0)
        complain(b, "dialog", text_at(params, "message", NULL));
    else if (strcmp(method, "Network.requestWillBeSent") == 0) {
        const char *url = text_at(params, "request", "url");
        if (strcmp(url, b->url) != 0 && strncmp(url, "data:", 5) != 0)
            complain(b, "asked for", url);
    }
}

/* The next message, within the time given. */
static json_t *next_message(browser *b)
{
    char *end;
    while (!(end = b->n ? memchr(b->buffer, '\0', b->n) : NULL)) {
        struct pollfd p = {b->from, POLLIN, 0};
        if (poll(&p, 1, WAIT_MS) != 1)
            fail_msg("the browser says nothing");
        array_reserve((void **)&b->buffer, &b->room, b->n + 65536, 1);
        ssize_t got = read(b->from, b->buffer + b->n, 65536);
        if (got <= 0)
            fail_msg("the browser is gone: is chromium installed?");
        b->n += (size_t)got;
    }
    json_t *message = json_loads(b->buffer, 0, NULL);
    assert_non_null(message);
    size_t used = (size_t)(end - b->buffer) + 1;
    memmove(b->buffer, end + 1, b->n - used);
    b->n -= used;
    return message;
}

/* Takes one message; an event is heard, and NULL is given for it. */
static json_t *take_message(browser *b)
{
    json_t *message = next_message(b);
    const char *method = json_string_value(json_object_get(message, "method"));
    if (!method)
        return message;
    hear_event(b, method, json_object_get(message, "params"));
    json_decref(message);
    return NULL;
}

json_t *browser_call(browser *b, const char *method, json_t *params)
{
    json_t *call = json_pack("{s:i, s:s}", "id", ++b->last, "method", method), *answer;
    assert_non_null(call);
    json_object_set_new(call, "params", params ? params : json_object());
    if (b->session)
        json_object_set_new(call, "sessionId", json_string(b->session));
    char *text = json_dumps(call, JSON_COMPACT);
    size_t n = strlen(text) + 1;
    assert_int_equal(write(b->to, text, n), n);
    free(text);
    json_decref(call);
    while (!(answer = take_message(b)) ||
           json_integer_value(json_object_get(answer, "id")) != b->last)
        json_decref(answer);
    json_t *result = json_incref(json_object_get(answer, "result"));
    if (!result)
        fail_msg("%s: %s", method, text_at(answer, "error", "message"));
    json_decref(answer);
    return result;
}

static void tell(browser *b, const char *method, json_t *params)
{
    json_decref(browser_call(b, method, params));
}

browser *browser_start(const char *profile)
{
    int to[2], from[2];
    browser *b = xcalloc(1, sizeof *b);
    assert_int_equal(pipe(to) | pipe(from), 0);
    b->process = fork();
    assert_true(b->process >= 0);
    if (b->process == 0)
        become_browser(profile, to[0], from[1]);
    close(to[0]);
    close(from[1]);
    b->to = to[1];
    b->from = from[0];
    b->url = xstrdup("");
    b->complaints = xstrdup("");
    json_t *made = browser_call(b, "Target.createTarget", json_pack("{s:s}", "url", "about:blank"));
    json_t *joined = browser_call(
        b, "Target.attachToTarget",
        json_pack("{s:s, s:b}", "targetId", text_at(made, "targetId", NULL), "flatten", 1));
    b->session = xstrdup(text_at(joined, "sessionId", NULL));
    json_decref(made);
    json_decref(joined);
    static const char *const parts[] = {"Page", "Runtime", "Log", "Network", "Accessibility"};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        char *method = xformat("%s.enable", parts[i]);
        tell(b, method, NULL);
        free(method);
    }
    return b;
}

void browser_stop(browser *b)
{
    int status;
    free(b->session);
    b->session = NULL;
    tell(b, "Browser.close", NULL);
    close(b->to);
    waitpid(b->process, &status, 0);
    close(b->from);
    free(b->buffer);
    free(b->url);
    free(b->complaints);
    free(b);
}

void browser_open(browser *b, const char *file, int width_px)
{
    char *folder = getcwd(NULL, 0);
    free(b->url);
    free(b->complaints);
    b->url = xformat("file://%s/%s", folder, file);
    b->complaints = xstrdup("");
    b->loaded = false;
    free(folder);
    tell(b, "Emulation.setDeviceMetricsOverride",
         json_pack("{s:i, s:i, s:i, s:b}", "width", width_px, "height", 740, "deviceScaleFactor", 2,
                   "mobile", width_px < 600));
    tell(b, "Page.navigate", json_pack("{s:s}", "url", b->url));
    while (!b->loaded)
        json_decref(take_message(b));
}

json_t *browser_value(browser *b, const char *expression)
{
    json_t *said =
        browser_call(b, "Runtime.evaluate",
                     json_pack("{s:s, s:b}", "expression", expression, "returnByValue", 1));
    if (json_object_get(said, "exceptionDetails"))
        fail_msg("%s: an exception", expression);
    json_t *value = json_incref(json_object_get(json_object_get(said, "result"), "value"));
    json_decref(said);
    return value;
}

const char *browser_complaints(const browser *b)
{
    return b->complaints;
}

void browser_print(browser *b, const char *pdf)
{
    json_t *said = browser_call(b, "Page.printToPDF",
                                json_pack("{s:b, s:b, s:b}", "preferCSSPageSize", 1,
                                          "generateTaggedPDF", 1, "printBackground", 0));
    const char *text = text_at(said, "data", NULL);
    struct base64_decode_ctx state;
    size_t n = BASE64_DECODE_LENGTH(strlen(text));
    uint8_t *bytes = xmalloc(n, 1);
    base64_decode_init(&state);
    assert_true(base64_decode_update(&state, &n, bytes, strlen(text), text));
    FILE *f = fopen(pdf, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(bytes, 1, n, f), n);
    assert_int_equal(fclose(f), 0);
    free(bytes);
    json_decref(said);
}
