// A synchronous serial master with clock polarity and phase, eight bits a word.
module spi (input clk, rst, go, cpol, cpha, miso, input [7:0] d, output sck, output mosi, output reg cs_n,
            output reg [7:0] q);
  reg [7:0] out, in;
  reg [4:0] edges;
  reg phase, sample;
  initial begin
    out = 0; in = 0; edges = 0; phase = 0; sample = 0; cs_n = 1; q = 0;
  end
  assign sck = phase ^ cpol;
  assign mosi = out[7];
  always @(posedge clk)
    if (rst) begin
      edges <= 0;
      phase <= 0;
      cs_n <= 1;
    end else if (edges == 0) begin
      if (!cs_n) begin
        cs_n <= 1;
        q <= in;
      end else if (go) begin
        cs_n <= 0;
        edges <= 16;
        out <= d;
      end
    end else begin
      edges <= edges - 1;
      phase <= ~phase;
      if (phase == cpha) begin
        in <= {in[6:0], miso};
        sample <= miso;
      end else if (edges != 16) out <= {out[6:0], sample};
    end
endmodule
