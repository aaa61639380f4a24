// A board for the processor: a kilobyte of memory on both of its buses, and a port of 32 lines beyond it.
module board (input clk, rst, irq, output reg [31:0] shown, output reg wrote, output [31:0] fetch, output fetching,
              output [31:0] address, output moving);
  wire [31:0] data;
  wire [3:0] bytes;
  wire we;
  reg [31:0] instruction, word;
  reg fetched, moved;
  reg [31:0] store [0:255];
  integer i;
  initial begin
    shown = 0; wrote = 0; instruction = 0; word = 0; fetched = 0; moved = 0;
    for (i = 0; i < 256; i = i + 1) store[i] = 0;
`include "program.vh"
  end

  serv_rf_top cpu (
      .clk(clk), .i_rst(rst), .i_timer_irq(irq),
      .o_ibus_adr(fetch), .o_ibus_cyc(fetching), .i_ibus_rdt(instruction), .i_ibus_ack(fetched),
      .o_dbus_adr(address), .o_dbus_dat(data), .o_dbus_sel(bytes), .o_dbus_we(we), .o_dbus_cyc(moving),
      .i_dbus_rdt(word), .i_dbus_ack(moved), .i_ext_rd(32'b0), .i_ext_ready(1'b0));

  always @(posedge clk) begin
    fetched <= fetching & ~fetched & ~rst;
    moved <= moving & ~moved & ~rst;
    wrote <= 0;
    instruction <= store[fetch[9:2]];
    word <= store[address[9:2]];
    if (moving & we & ~moved) begin
      if (address[31]) begin
        shown <= data;
        wrote <= 1;
      end else
        for (i = 0; i < 4; i = i + 1) if (bytes[i]) store[address[9:2]][8*i +: 8] <= data[8*i +: 8];
    end
  end
endmodule
