/*
 * A Modbus/TCP client and server on libmodbus, for the tests and the benchmark: another library, another language.
 *
 *   libmodbus_peer read PORT UNIT TABLE ADDRESS COUNT      prints the values on one line
 *   libmodbus_peer write PORT UNIT TABLE ADDRESS VALUE...  one request, FC 0F or 10; a single value FC 05 or 06
 *   libmodbus_peer serve PORT [TABLE ADDRESS VALUE]...     PORT 0: a free one. Prints it. A line on standard
 *                                                          input prints what is not 0 in what can be written
 * TABLE: coil, discrete_input, holding_register, input_register. Failure: the library's words, status 1.
 * Build: cc libmodbus_peer.c -o libmodbus_peer $(pkg-config --cflags --libs libmodbus)
 */
#include <arpa/inet.h>
#include <errno.h>
#include <modbus.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { SIZE = 400, MOST = 2000 };

static int failed(const char *what) {
    fprintf(stderr, "%s: %s\n", what, modbus_strerror(errno));
    return 1;
}

static int is_bits(const char *table) { return strcmp(table, "coil") == 0 || strcmp(table, "discrete_input") == 0; }

static int read_values(modbus_t *link, const char *table, int address, int count) {
    uint8_t bits[MOST];
    uint16_t words[MOST];
    int got;
    if (strcmp(table, "coil") == 0) got = modbus_read_bits(link, address, count, bits);
    else if (strcmp(table, "discrete_input") == 0) got = modbus_read_input_bits(link, address, count, bits);
    else if (strcmp(table, "holding_register") == 0) got = modbus_read_registers(link, address, count, words);
    else got = modbus_read_input_registers(link, address, count, words);
    if (got != count) return failed("read");
    for (int i = 0; i < count; i++) printf("%d ", is_bits(table) ? bits[i] : words[i]);
    printf("\n");
    return 0;
}

static int write_values(modbus_t *link, const char *table, int address, int count, char **values) {
    uint8_t bits[MOST];
    uint16_t words[MOST];
    for (int i = 0; i < count; i++) bits[i] = (uint8_t)(words[i] = (uint16_t)atoi(values[i]));
    int done;
    if (count == 1) done = is_bits(table) ? modbus_write_bit(link, address, bits[0]) : modbus_write_register(link, address, words[0]);
    else done = is_bits(table) ? modbus_write_bits(link, address, count, bits) : modbus_write_registers(link, address, count, words);
    return done == count ? 0 : failed("write");
}

static void put(modbus_mapping_t *tables, const char *table, int address, int value) {
    if (strcmp(table, "coil") == 0) tables->tab_bits[address] = (uint8_t)value;
    else if (strcmp(table, "discrete_input") == 0) tables->tab_input_bits[address] = (uint8_t)value;
    else if (strcmp(table, "holding_register") == 0) tables->tab_registers[address] = (uint16_t)value;
    else tables->tab_input_registers[address] = (uint16_t)value;
}

static void show(const modbus_mapping_t *tables) {
    for (int i = 0; i < SIZE; i++) if (tables->tab_bits[i]) printf("coil %d %d ", i, tables->tab_bits[i]);
    for (int i = 0; i < SIZE; i++) if (tables->tab_registers[i]) printf("holding_register %d %d ", i, tables->tab_registers[i]);
    printf("\n");
    fflush(stdout);
}

/* Ends with standard input. Serves one connection after the other. */
static int serve(modbus_t *link, modbus_mapping_t *tables) {
    uint8_t request[MODBUS_TCP_MAX_ADU_LENGTH];
    char line[80];
    int listener = modbus_tcp_listen(link, 1), peer = -1;
    struct sockaddr_in address;
    socklen_t size = sizeof address;
    if (listener < 0) return failed("listen");
    getsockname(listener, (struct sockaddr *)&address, &size);
    printf("%d\n", ntohs(address.sin_port));
    fflush(stdout);
    for (;;) {
        struct pollfd ready[] = {{0, POLLIN, 0}, {peer < 0 ? listener : peer, POLLIN, 0}};
        poll(ready, 2, -1);
        if (ready[0].revents) {
            if (!fgets(line, sizeof line, stdin)) return 0;
            show(tables);
        }
        if (!ready[1].revents) continue;
        if (peer < 0) {
            peer = modbus_tcp_accept(link, &listener);
            continue;
        }
        int length = modbus_receive(link, request);
        if (length > 0) modbus_reply(link, request, length, tables);
        else if (length < 0) {
            close(peer);
            peer = -1;
        }
    }
}

int main(int argc, char **argv) {
    if (argc < 3) return fprintf(stderr, "read, write or serve, and a port\n"), 2;
    modbus_t *link = modbus_new_tcp("127.0.0.1", atoi(argv[2]));
    if (strcmp(argv[1], "serve") == 0) {
        modbus_mapping_t *tables = modbus_mapping_new(SIZE, SIZE, SIZE, SIZE);
        for (int i = 3; i + 2 < argc; i += 3) put(tables, argv[i], atoi(argv[i + 1]), atoi(argv[i + 2]));
        return serve(link, tables);
    }
    if (argc < 7) return fprintf(stderr, "PORT UNIT TABLE ADDRESS COUNT or VALUE...\n"), 2;
    modbus_set_slave(link, atoi(argv[3]));
    if (modbus_connect(link) < 0) return failed("connect");
    if (strcmp(argv[1], "read") == 0) return read_values(link, argv[4], atoi(argv[5]), atoi(argv[6]));
    return write_values(link, argv[4], atoi(argv[5]), argc - 6, argv + 6);
}
